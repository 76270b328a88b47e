"""The convolver against direct convolution, and what is measured of a room heard through it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyroomacoustics
import pytest
import soundfile
from scipy.signal import fftconvolve

from tests.blocks.harness import prepared, run

FS = 48_000
WET = {"dry_db": "off", "wet_db": 0.0, "response_level": "as recorded", "begin_at_onset": False, "stereo": False}


def test_equals_direct_convolution(tmp_path: Path) -> None:
    """Random h 1 s, x 2 s, spans of 64, 100, 4096: 1e-10 of the peak, and len(x) + len(h) - 1 samples long."""
    rng = np.random.default_rng(1)
    h, x = rng.standard_normal(FS), rng.standard_normal(2 * FS)
    soundfile.write(tmp_path / "h.wav", h, FS, subtype="DOUBLE")
    block = prepared("convolver", folder=tmp_path, file="h.wav", **WET)
    right = fftconvolve(x, h)
    fed = np.concatenate([x, np.zeros(FS + 100)])[None]
    whole = run(block, fed)
    assert np.max(np.abs(whole[0, : right.size] - right)) < 1e-10 * np.max(np.abs(right))
    assert np.max(np.abs(whole[0, right.size :])) < 1e-10 * np.max(np.abs(right))
    for size in (64, 100, 4_096):
        block.reset()
        assert run(block, fed, cuts=range(size, fed.shape[1], size)).tobytes() == whole.tobytes()


def test_a_unit_impulse_gives_the_sound_exactly(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "h.wav", [1.0, 0.0], FS, subtype="DOUBLE")
    x = np.random.default_rng(2).standard_normal((2, FS))
    assert run(prepared("convolver", channels=2, folder=tmp_path, file="h.wav", **WET), x).tobytes() == x.tobytes()


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_the_decay_time_of_the_room_is_kept(tmp_path: Path, rate_hz: int) -> None:
    """T60 of noise that decays by 60 dB in 0.8 s, by an outside library's T30 of what an impulse gives; within 2 %."""
    t = np.arange(rate_hz) / rate_hz
    h = np.random.default_rng(3).standard_normal(rate_hz) * 10.0 ** (-3.0 * t / 0.8)
    soundfile.write(tmp_path / "h.wav", h, rate_hz, subtype="DOUBLE")
    x = np.zeros((1, FS))
    x[0, 0] = 1.0
    y = run(prepared("convolver", folder=tmp_path, file="h.wav", **WET), x)[0]
    assert pyroomacoustics.experimental.measure_rt60(y, fs=FS, decay_db=30) == pytest.approx(0.8, rel=0.02)
