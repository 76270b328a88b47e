"""`chainsim render`, as a user calls it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.cli import main

SKETCH = """
title = "Two lanes"
chain = ["first", { lanes = ["dry", ["side"]] }, "last"]
[blocks.first]
type = "gain"
gain_db = -6
[blocks.side]
type = "pan"
pan = 1
[blocks.last]
type = "gain"
latency_ms = 10
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "s.toml").write_text(SKETCH)
    t = np.arange(24_000) / 48_000
    for name, hz in (("a", 440), ("b", 554)):
        soundfile.write(tmp_path / f"{name}.wav", 0.25 * np.sin(2 * np.pi * hz * t), 48_000, subtype="FLOAT")
    return tmp_path


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stopped:
        main([str(a) for a in arguments])
    return int(stopped.value.code or 0)


def test_a_take_becomes_a_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = folder / "out.wav"
    assert run("render", folder / "s.toml", folder / "a.wav", "-o", out, "--probe", f"first={folder / 'p.wav'}") == 0
    y, rate_hz = soundfile.read(out)
    assert rate_hz == 48_000
    assert soundfile.info(out).subtype == "FLOAT"
    assert y.shape == (24_000 + 480, 2)  # 10 ms later, stereo from the pan
    x, _ = soundfile.read(folder / "a.wav")
    scaled = x * 10 ** (-6 / 20)
    assert np.abs(y[480:, 0] - scaled).max() < 1e-7  # float32 in the file
    assert np.abs(y[480:, 1] - scaled * (1 + np.sqrt(2))).max() < 1e-7
    assert np.abs(soundfile.read(folder / "p.wav")[0][:24_000] - scaled).max() < 1e-7
    printed = capsys.readouterr().out
    assert "latency 10.0 ms" in printed
    # power of the two sides together against the take on both: -6 + 10 log10((1 + (1 + sqrt 2)^2) / 2) = -0.67 dB
    assert "(-0.7 LU against the take while it sounds)" in printed
    assert "LUFS" in printed


def test_json_for_programs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("render", folder / "s.toml", folder / "a.wav", "-o", folder / "o.wav", "--json", "--record") == 0
    report = json.loads(capsys.readouterr().out)["rendered"][0]
    assert report["latency_ms"] == 10.0
    assert report["channels"] == 2
    # -6 dB and (1 + sqrt 2) = 7.66 dB on a 0.25 sine: -12.04 - 6 + 7.66 dBFS
    assert report["true_peak_dbtp"] == pytest.approx(-10.39, abs=0.05)
    record = json.loads((folder / "o.wav.json").read_text())
    assert record["take_sha256"] == report["take_sha256"]
    assert record["sketch"] == "Two lanes"


def test_many_takes_go_into_a_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "out").mkdir()
    assert run("render", folder / "s.toml", folder / "a.wav", folder / "b.wav", "-o", folder / "out") == 0
    assert sorted(p.name for p in (folder / "out").iterdir()) == ["a.wav", "b.wav"]


def test_one_bad_take_of_many_is_listed_and_the_rest_goes_on(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "out").mkdir()
    assert run("render", folder / "s.toml", folder / "no.wav", folder / "b.wav", "-o", folder / "out") == 1
    assert [p.name for p in (folder / "out").iterdir()] == ["b.wav"]
    assert "no.wav" in capsys.readouterr().err


def test_integer_formats_do_not_clip(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    loud = folder / "loud.toml"
    loud.write_text('chain = ["g"]\n[blocks.g]\ntype = "gain"\ngain_db = 24')
    assert run("render", loud, folder / "a.wav", "-o", folder / "o.wav", "--format", "pcm16") == 2
    assert "dBFS" in capsys.readouterr().err
    assert not (folder / "o.wav").exists()
    assert run("render", loud, folder / "a.wav", "-o", folder / "o.wav", "--format", "pcm16", "--lower-to-fit") == 0
    assert "lowered by" in capsys.readouterr().out
    assert np.abs(soundfile.read(folder / "o.wav")[0]).max() < 1.0


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["--probe", "first"], "write it as WIRE=FILE"),
        (["--probe", "frist=p.wav"], 'probe "frist": no such block'),
        (["--probe", "first=out.wav"], "two outputs would be one file"),
        (["--probe", "out=p.wav"], 'a probe "out" is the output itself'),
        (["--format", "pcm8"], "pcm8"),
    ],
)
def test_bad_options(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], line: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    assert run("render", "s.toml", "a.wav", "-o", "out.wav", *arguments) == 2
    error = capsys.readouterr().err
    assert line in error
    assert len(error.strip().splitlines()) == 1
    assert not (folder / "out.wav").exists()


def test_watch_renders_again_when_the_sketch_or_the_take_is_saved(folder: Path) -> None:
    command = [
        sys.executable,
        "-c",
        "from chainsim.cli import main; main()",
        "render",
        "s.toml",
        "a.wav",
        "-o",
        "o.wav",
    ]
    with subprocess.Popen([*command, "--watch"], cwd=folder, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            assert "o.wav" in process.stdout.readline()
            first = (folder / "o.wav").read_bytes()
            # Whole at once, as editors save: half of it would be rendered if this machine stalled in the middle.
            (folder / "new.toml").write_text(SKETCH.replace("-6", "-12"))
            os.replace(folder / "new.toml", folder / "s.toml")
            assert "o.wav" in process.stdout.readline()
            second = (folder / "o.wav").read_bytes()
            assert second != first
            x, rate_hz = soundfile.read(folder / "a.wav")
            soundfile.write(folder / "new.wav", -x, rate_hz)
            os.replace(folder / "new.wav", folder / "a.wav")
            assert "o.wav" in process.stdout.readline()
            assert (folder / "o.wav").read_bytes() != second
        finally:
            process.kill()


def test_no_take_is_written_over_and_no_result_twice(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    x, rate_hz = soundfile.read(folder / "a.wav")
    soundfile.write(folder / "a.flac", x, rate_hz)
    kept = (folder / "a.wav").read_bytes()
    assert run("render", folder / "s.toml", folder / "a.flac", folder / "a.wav", "-o", folder) == 2
    assert (folder / "a.wav").read_bytes() == kept
    (folder / "out").mkdir()
    assert run("render", folder / "s.toml", folder / "a.flac", folder / "a.wav", "-o", folder / "out") == 2
    assert "both become this file" in capsys.readouterr().err
    assert list((folder / "out").iterdir()) == []


def test_a_reading_can_be_probed(folder: Path) -> None:
    (folder / "g.toml").write_text('chain = ["noise_gate"]')
    arguments = ["render", folder / "g.toml", folder / "a.wav", "-o", folder / "o.wav"]
    assert run(*arguments, "--probe", f"noise_gate:gain={folder / 'gain.wav'}") == 0
    gain, _ = soundfile.read(folder / "gain.wav")
    assert gain.shape == (24_000,)
    assert gain.max() == 1.0  # open in the note


def test_a_refused_output_takes_its_probes_with_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "hot.toml").write_text(
        'chain = ["soft", "hot"]\n[blocks.soft]\ntype = "gain"\n[blocks.hot]\ntype = "gain"\ngain_db = 24'
    )
    arguments = ["render", folder / "hot.toml", folder / "a.wav", "-o", folder / "o.flac"]
    assert run(*arguments, "--probe", f"soft={folder / 'soft.wav'}") == 2
    assert not (folder / "soft.wav").exists()
    assert not (folder / "o.flac").exists()


def test_one_take_that_does_not_fit_the_sketch_is_listed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "eq.toml").write_text(
        'chain = ["equalizer"]\n[blocks.equalizer]\nbands = [{ shape = "bell", freq_hz = 9000, gain_db = 3 }]'
    )
    soundfile.write(folder / "low.wav", np.zeros(8_000), 8_000)
    (folder / "out").mkdir()
    takes = [folder / "low.wav", folder / "b.wav"]
    assert run("render", folder / "eq.toml", *takes, "-o", folder / "out", "--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert len(told["rendered"]) == len(told["failed"]) == 1
    assert "bands[0].freq_hz = 9000 Hz" in told["failed"][0]
