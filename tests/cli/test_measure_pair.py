"""`chainsim measure --pair` and `--test-signal` from the outside: table, JSON, sketch, one line for what is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.listen.plots.pair_plot import impulse_level
from chainsim.measure.pair.deconvolution import deconvolve
from chainsim.sketch.loading import load_sketch
from tests.cli.running import complaint, names, ran, take_file

RATE_HZ = 48_000


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """dry.wav, and wet.wav: half of it, 480 samples later, turned over, with noise 40 dB under it."""
    monkeypatch.chdir(tmp_path)
    random = np.random.default_rng(2)
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    dry = np.where(t % 1.0 < 0.6, 0.1, 0.0) * random.standard_normal(t.size)
    wet = -0.5 * np.concatenate([np.zeros(480), dry]) + 0.0005 * random.standard_normal(t.size + 480)
    take_file(tmp_path, dry[:, None], RATE_HZ, "dry.wav")
    take_file(tmp_path, np.stack([wet, wet], axis=1), RATE_HZ, "wet.wav")
    take_file(tmp_path, random.standard_normal((RATE_HZ, 1)) * 0.1, RATE_HZ, "other.wav")
    falling = dry * 10.0 ** (-0.5 * t) + 1e-3 * random.standard_normal(t.size)
    take_file(tmp_path, falling[:, None], RATE_HZ, "take.wav")
    take_file(tmp_path, dry[:100, None], RATE_HZ, "short.wav")
    take_file(tmp_path, 0.0 * dry[:, None], RATE_HZ, "silent.wav")
    take_file(tmp_path, dry[:, None], 44_100, "slow.wav")
    return tmp_path


def test_the_table_names_every_figure(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--pair", "dry.wav", "wet.wav")
    assert run.code == 0
    rows = {" ".join(line.split()) for line in run.out.splitlines()}
    assert any(row.startswith("latency 10.000 ms") for row in rows)
    assert any(row.startswith("gain -6.02 dB") for row in rows)
    noise = next(row.split() for row in rows if row.startswith("noise of the box over"))
    assert float(noise[-5]) == pytest.approx(-66.0, abs=0.5)  # 20 log10 0.0005
    assert "polarity inverted" in rows
    assert "delay time not found" in rows
    assert "first echo, 300 Hz to 2.5 kHz not found" in rows
    assert "modulation not found" in rows
    assert "1000 -6.0 1.00" in rows
    assert "warning: wet.wav: left and right folded to their mean" in run.err


def test_json_has_values_with_intervals(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--pair", "dry.wav", "wet.wav", "--json", "--write", "gain")
    told = json.loads(run.out)
    assert told["latency_samples"]["low"] < 480.0 < told["latency_samples"]["high"]
    assert told["inverted"] is True
    assert told["delay_ms"] == {"value": None, "low": None, "high": None}
    assert told["modulation"] is None
    assert told["fit"]["settings"]["gain_db"] == pytest.approx(-6.02, abs=0.01)
    assert told["fit"]["settings"]["latency_ms"] == pytest.approx(10.0, abs=0.01)
    assert told["fit"]["residual_db"] < -35.0


def test_a_sketch_is_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--pair", "dry.wav", "wet.wav", "--write", "gain")
    assert run.out.startswith("format = 1\n")
    assert "energy not explained" in run.err
    before = names(folder)
    filed = ran(capsys, "measure", "--pair", "dry.wav", "wet.wav", "--write", "gain", "-o", "box.toml")
    assert (filed.code, names(folder)) == (0, sorted([*before, "box.toml"]))
    assert "energy not explained" in filed.out
    assert (folder / "box.toml").read_text() == run.out
    assert load_sketch(folder / "box.toml").base.blocks["box"].settings.gain_db == pytest.approx(-6.02, abs=0.01)


def test_where_only_a_bound_is_known_it_says_below(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--pair", "take.wav", "take.wav")
    row = next(line.split() for line in run.out.splitlines() if line.startswith("noise of the box"))
    assert row[-3:-1] == ["below", row[-2]]
    # the rests hold noise of -60 dBFS, of which 3 % could be the box's unseen: -75.2 dBFS
    assert float(row[-2]) == pytest.approx(-75.2, abs=1.5)


def test_a_box_is_drawn(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = names(folder)
    run = ran(capsys, "measure", "--pair", "dry.wav", "wet.wav", "--plot", "box.png")
    assert (run.code, names(folder)) == (0, sorted([*before, "box.png"]))
    assert (folder / "box.png").read_bytes().startswith(b"\x89PNG")
    assert "made of dry.wav" in run.out


def test_the_drawn_impulse_response_begins_at_the_direct_sound() -> None:
    x = np.random.default_rng(4).standard_normal(RATE_HZ)
    wet = np.zeros(RATE_HZ + 5000)
    wet[480 : 480 + x.size] = -0.5 * x
    wet[4800 : 4800 + x.size] += 0.05 * x
    times_ms, level_db = impulse_level(deconvolve(x, wet, RATE_HZ), 480)
    assert level_db[np.argmin(np.abs(times_ms))] == 0.0
    # 0.05 is 20 dB under 0.5, 4320 samples (90 ms) later
    assert level_db[np.argmin(np.abs(times_ms - 90.0))] == pytest.approx(-20.0, abs=0.3)


def test_a_test_signal_is_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--test-signal", "signal.wav")
    assert "chainsim measure --pair signal.wav RECORDING" in run.out
    samples, rate_hz = soundfile.read(folder / "signal.wav")
    assert rate_hz == RATE_HZ
    assert np.max(np.abs(samples)) == pytest.approx(0.5, abs=0.001)
    assert not samples[:RATE_HZ].any()


BAD = {
    "one file": (("--pair", "dry.wav"), "--pair takes two files, DRY and WET; found 1"),
    "no file": (("--pair", "dry.wav", "none.wav"), "none.wav: no such file"),
    "another take": (("--pair", "dry.wav", "other.wav"), "other.wav: has nothing in common with dry.wav"),
    "too short": (("--pair", "dry.wav", "short.wav"), "short.wav: 0.00 s, allowed 1 s or more"),
    "silent": (("--pair", "silent.wav", "wet.wav"), "silent.wav: is silent"),
    "other rate": (("--pair", "dry.wav", "slow.wav"), "slow.wav: sample rate 44100 Hz, but dry.wav has 48000 Hz"),
    "a block that cannot be fitted": (("--pair", "dry.wav", "wet.wav", "--write", "pan"), "cannot be fitted"),
    "no picture": (("--pair", "dry.wav", "wet.wav", "--plot", "box.bmp"), 'box.bmp: cannot draw ".bmp" files'),
    "output alone": (("--pair", "dry.wav", "wet.wav", "-o", "x.toml"), "-o does not go without --write"),
    "write without pair": (("dry.wav", "--write", "gain"), "--write does not go with files"),
    "two modes": (("--pair", "--harmony", "a", "b"), "--harmony and --pair do not go together"),
    "no signal file": (("--test-signal",), "--test-signal takes one file to write; found 0"),
}


@pytest.mark.parametrize(("arguments", "message"), BAD.values(), ids=BAD)
def test_what_is_wrong_gets_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], message: str
) -> None:
    before = names(folder)
    assert message in complaint(ran(capsys, "measure", *arguments))
    assert names(folder) == before
