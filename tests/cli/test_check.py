"""`chainsim check`: figures that follow from what the sketch and the take were made of."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.cli.running import notes, ran, sketch_file

RATE_HZ = 48_000

LANES = """
title = "Two ways"
chain = [{ lanes = ["dry", ["late"]] }, "gate"]
[blocks.late]
type = "gain"
latency_ms = 12
[blocks.gate]
type = "noise_gate"
listens_to = "input"
threshold_db = -40
[blocks.spare]
type = "pan"
[patches.bare]
engage = []
[patches.turned]
chain = ["gate", "late"]
"""


def test_it_draws_and_warns(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "check", sketch_file(tmp_path, LANES))
    assert told.code == 0
    assert "input ─┬────────┬─► sum ─► gate [hears input] ─► out" in told.out
    assert 'Patch "bare":' in told.out
    assert "(gate)" in told.out
    everything = told.out + told.err
    assert "differ by 12.00 ms; a comb with its first notch at 42 Hz" in everything  # 1 / (2 x 12 ms) = 41.67 Hz
    assert "blocks.spare: declared but in no chain" in everything


def test_json_has_every_figure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = json.loads(ran(capsys, "check", sketch_file(tmp_path, LANES), "--json").out)["sketch"]
    written, bare, turned = told["states"]
    assert written["latency_ms"] == [0.0, 12.0]
    assert bare["latency_ms"] == [0.0, 0.0]
    assert turned["latency_ms"] == [12.0, 12.0]
    assert sorted(bare["disengaged"]) == ["gate", "late"]


def gated(folder: Path, capsys: pytest.CaptureFixture[str], text: str, take: np.ndarray) -> dict[str, Any]:
    """Report on the only gate of a sketch."""
    soundfile.write(folder / "take.wav", take, RATE_HZ, subtype="FLOAT")
    told = ran(capsys, "check", sketch_file(folder, text), "--take", folder / "take.wav", "--json")
    assert told.code == 0
    gates: list[dict[str, Any]] = json.loads(told.out)["take"]["gates"]
    assert len(gates) == 1
    return gates[0]


def test_a_gate_that_lets_all_notes_through(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    report = gated(tmp_path, capsys, 'chain = ["noise_gate"]', notes(RATE_HZ))
    assert report["gating"]["notes"] == report["gating"]["openings"] == 4
    assert report["gating"]["swallowed_s"] == []
    assert report["gating"]["closes_per_note"] == 1.0
    # noise of 1e-4 rms has peaks near 4 sigma, -68 dBFS; the suggestion stays within 60 dB of the notes' -8 dBFS
    assert -68.0 <= report["suggested_threshold_db"] <= -55.0


def test_the_noise_is_told_by_rms_and_by_the_peaks_that_gates_go_by(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    soundfile.write(tmp_path / "take.wav", notes(RATE_HZ), RATE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "short.wav", notes(RATE_HZ)[:RATE_HZ][-400:], RATE_HZ, subtype="FLOAT")
    sketch = sketch_file(tmp_path, 'chain = ["noise_gate"]\n[blocks.noise_gate]\nthreshold_db = -75')
    told = ran(capsys, "check", sketch, "--take", tmp_path / "take.wav").out
    # noise of 1e-4 rms, which peaks near 4 sigma
    noise = re.search(r"noise: (\S+) dBFS rms in .*; its peaks, which gates go by, reach (\S+) dBFS", told)
    assert noise is not None
    assert float(noise[1]) == pytest.approx(-80.0, abs=0.3)
    assert -71.0 < float(noise[2]) < -66.0
    assert "clears the noise's peaks in the rests" in told
    told = ran(capsys, "check", sketch, "--take", tmp_path / "short.wav").out
    assert told.endswith("0.008 s\n  too short to judge: it needs 0.4 s\n")


def test_a_gate_set_over_the_notes_swallows_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    report = gated(
        tmp_path, capsys, 'chain = ["noise_gate"]\n[blocks.noise_gate]\nthreshold_db = -1', 0.5 * notes(RATE_HZ)
    )
    assert report["gating"]["openings"] == 0
    # beginnings of the notes as `notes` makes them: 0.25 s after each second
    assert report["gating"]["swallowed_s"] == pytest.approx([0.25, 1.25, 2.25, 3.25], abs=0.03)


def test_a_clipped_take_and_a_fold_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    left = np.clip(3.0 * np.sin(2 * np.pi * 440 * t) * (t > 0.5), -1.0, 1.0)
    soundfile.write(tmp_path / "take.wav", np.column_stack([left, -0.5 * left]), RATE_HZ, subtype="FLOAT")
    told = ran(capsys, "check", sketch_file(tmp_path, 'feed = "mono"\nchain = []'), "--take", tmp_path / "take.wav")
    assert told.code == 0
    assert "clip" in told.out
    # fold (L - L/2)/2 = L/4; power L^2/16 against the mean power of the sides (1 + 1/4)/2 L^2: 10 dB quieter
    assert "10.0 dB" in told.out


def test_a_key_that_makes_a_second_instance_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = 'key = "G minor"\nchain = ["second"]\n[blocks.second]\ntype = "pitch_shifter"\n'
    text += 'voices = [{ interval = "third above" }]\n[patches.bridge]\nkey = "C major"\n'
    told = ran(capsys, "check", sketch_file(tmp_path, text + '[[cues]]\nat_s = 1\npatch = "bridge"\n'))
    assert "second: patches need 2 of it (a fixed setting, the key or the order differs)" in told.out


def test_key_and_cues_are_told_and_a_late_cue_is_warned_of(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = """
instrument = "tenor sax"
pitch_names = "written"
key = "F# minor"
chain = ["gain"]
[patches.loud.blocks.gain]
gain_db = 3
[[cues]]
at_s = 99
patch = "loud"
"""
    soundfile.write(tmp_path / "take.wav", notes(8_000), 8_000, subtype="FLOAT")
    told = ran(capsys, "check", sketch_file(tmp_path, text), "--take", tmp_path / "take.wav")
    assert "in E minor, as it sounds" in told.out  # a tenor sounds a ninth lower than written
    assert "Cues: patch loud at 99 s" in told.out
    late = 'the cue "patch loud" at 99 s comes after the take, which lasts 4.0 s'
    assert late in told.out + told.err
    rendered = ran(capsys, "render", tmp_path / "sketch.toml", tmp_path / "take.wav", "-o", tmp_path / "out.wav")
    assert late in rendered.err


@pytest.mark.parametrize(
    ("chain", "gates"),
    [
        ('[{ lanes = ["a", "b"] }]', ["a", "b"]),  # equal gates are one node
        ('[{ blender = "mix", wet = ["a"] }, "b"]', ["b"]),  # the blender is away
        ('[{ lanes = ["b", { chain = ["a"], level_db = "off" }] }]', ["b"]),  # the lane is off
    ],
)
def test_gates_that_share_or_are_not_heard(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], chain: str, gates: list[str]
) -> None:
    text = f"""
chain = {chain}
[blocks.a]
type = "noise_gate"
[blocks.b]
type = "noise_gate"
[blocks.mix]
type = "blender"
engaged = false
"""
    soundfile.write(tmp_path / "take.wav", notes(8_000), 8_000, subtype="FLOAT")
    told = ran(capsys, "check", sketch_file(tmp_path, text), "--take", tmp_path / "take.wav", "--json")
    assert told.code == 0
    assert [g["name"] for g in json.loads(told.out)["take"]["gates"]] == gates
