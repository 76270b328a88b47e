"""The main job on sampled real horns: every format, rate and layout a player's recorder may give."""

from __future__ import annotations

from math import gcd
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from chainsim import load_sketch, parse_sketch, render, render_file
from tests.sampled_horns import SampledHorn

SKETCH = """
tempo_bpm = 120
chain = [{ blender = "sweep_mix", wet = ["sweep"] }, "late_gate", "echo", "hall"]
[blocks.sweep]
type = "envelope_filter"
[blocks.sweep_mix]
type = "blender"
[blocks.late_gate]
type = "noise_gate"
listens_to = "input"
[blocks.echo]
type = "delay"
note = "1/8"
[blocks.hall]
type = "reverb"
decay_s = 0.8
"""

DRY = 'chain = ["gain"]'

FORMATS = [
    ("wav", "PCM_16", 2**-15),
    ("wav", "PCM_24", 2**-23),
    ("wav", "FLOAT", 1e-7),
    ("flac", "PCM_24", 2**-23),
    ("ogg", "VORBIS", 0.1),
    ("mp3", "MPEG_LAYER_III", 0.1),
]
"""Suffix, subtype, and how far a sample may lie off: half a step of the format, or a lossy codec's error."""


@pytest.fixture(params=["sampled_sax", "sampled_trombone"])
def horn(request: pytest.FixtureRequest) -> SampledHorn:
    taken: SampledHorn = request.getfixturevalue(request.param)
    return taken


@pytest.mark.parametrize(("suffix", "subtype", "step"), FORMATS, ids=[f"{f[0]}-{f[1]}" for f in FORMATS])
def test_formats(horn: SampledHorn, tmp_path: Path, suffix: str, subtype: str, step: float) -> None:
    take = tmp_path / f"take.{suffix}"
    soundfile.write(take, horn.audio, horn.sample_rate_hz, subtype=subtype)
    report = render_file(parse_sketch(DRY), take, tmp_path / "out.wav")
    y, rate_hz = soundfile.read(tmp_path / "out.wav")
    assert rate_hz == horn.sample_rate_hz
    assert abs(len(y) - len(horn.audio)) <= (0 if suffix in ("wav", "flac") else 1_152)  # a codec's frame
    frames = min(len(y), len(horn.audio))
    assert np.abs(y[:frames] - horn.audio[:frames]).max() <= step
    assert report.warnings == []


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_rates_and_layouts(horn: SampledHorn, tmp_path: Path, rate_hz: int, channels: int) -> None:
    """The same chain at another rate sounds the same: loudness within 0.3 LU, tail of the same length."""
    (tmp_path / "s.toml").write_text(SKETCH)
    common = gcd(rate_hz, horn.sample_rate_hz)
    audio = resample_poly(horn.audio, rate_hz // common, horn.sample_rate_hz // common)
    take = tmp_path / "take.wav"
    soundfile.write(take, np.column_stack([audio] * channels), rate_hz, subtype="FLOAT")
    report = render_file(load_sketch(tmp_path / "s.toml"), take, tmp_path / "out.wav")
    reference = render(parse_sketch(SKETCH), np.column_stack([horn.audio] * channels), horn.sample_rate_hz)
    soundfile.write(tmp_path / "ref.wav", reference.audio, horn.sample_rate_hz, subtype="FLOAT")
    plain = render_file(parse_sketch(DRY), tmp_path / "ref.wav", tmp_path / "ref_out.wav")
    y, _ = soundfile.read(tmp_path / "out.wav")
    assert y.shape[1] == 2
    assert np.isfinite(y).all()
    assert len(y) / rate_hz == pytest.approx(len(reference.audio) / horn.sample_rate_hz, rel=0.02)
    assert report.integrated_lufs == pytest.approx(plain.integrated_lufs, abs=0.3)


def test_each_note_of_a_real_horn_opens_the_filter(horn: SampledHorn) -> None:
    """In the long notes the filter's cutoff is at least an octave over where it rests before the first note."""
    sketch = parse_sketch('chain = ["sweep"]\n[blocks.sweep]\ntype = "envelope_filter"\nrelease_ms = 40')
    cutoff = render(sketch, horn.audio, horn.sample_rate_hz, probes=["sweep:cutoff_hz"]).probes["sweep:cutoff_hz"][:, 0]
    rest = cutoff[: round(0.9 * horn.notes[0].onset_s * horn.sample_rate_hz)].max()
    for note in horn.notes:
        span = slice(round(note.onset_s * horn.sample_rate_hz), round(note.end_s * horn.sample_rate_hz))
        assert cutoff[span].max() > 2.0 * rest


def test_a_gate_keeps_every_note_of_a_real_horn(horn: SampledHorn) -> None:
    sketch = parse_sketch('chain = ["gate"]\n[blocks.gate]\ntype = "noise_gate"')
    y = render(sketch, horn.audio, horn.sample_rate_hz).audio[:, 0]
    for note in horn.notes:
        begin = round((note.onset_s + 0.03) * horn.sample_rate_hz)
        end = round(note.end_s * horn.sample_rate_hz)
        kept = np.sum(y[begin:end] ** 2) / np.sum(horn.audio[begin:end] ** 2)
        assert kept > 0.98
