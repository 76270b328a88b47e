"""The spectrum of a whole sound and its centroid, against scipy's Welch estimate and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import welch

from chainsim.errors import AudioError
from chainsim.measure.frame_powers import FramePowers, SpectrumMeter
from chainsim.units import Audio

RATE_HZ = 48_000.0


def read(x: Audio, rate_hz: float = RATE_HZ) -> SpectrumMeter:
    meter = SpectrumMeter(rate_hz, x.shape[0])
    meter.add(np.ascontiguousarray(x))
    return meter


@pytest.mark.parametrize("frames", [1, 700, 1024, 5000, 40_000])
def test_against_another_library(frames: int) -> None:
    x = np.random.default_rng(2).standard_normal((1, frames))
    size = FramePowers(RATE_HZ, 1).size
    # The same grid: half a frame of silence before, and as much behind as the last frames need.
    count = -(-(frames + size // 2) // (size // 2))
    padded = np.zeros((count + 1) * size // 2)
    padded[size // 2 : size // 2 + frames] = x
    _, density = welch(padded, RATE_HZ, "hann", size, size // 2, detrend=False, scaling="spectrum")
    # Theirs is one-sided: twice the power, save at 0 Hz and half the rate; scaled by the window's sum.
    twice = np.full(density.size, 2.0)
    twice[[0, -1]] = 1.0
    expected = np.sqrt(density / twice) * (size / 2.0)
    np.testing.assert_allclose(read(x).amplitude(), expected, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 96_000.0])
def test_a_frame_lasts_as_long_at_every_rate(rate_hz: float) -> None:
    assert FramePowers(rate_hz, 1).size / rate_hz == pytest.approx(0.043, rel=0.5)


def test_centroids_in_closed_form() -> None:
    rng, t = np.random.default_rng(3), np.arange(96_000) / RATE_HZ
    # White noise, and one impulse wherever it falls, have it at a quarter of the rate.
    assert read(rng.standard_normal((1, 96_000))).result() == pytest.approx(12_000.0, rel=0.005)
    for at in (0, 1, 1023, 1024, 4999):
        assert read(np.eye(1, 5000, at)).result() == pytest.approx(12_000.0, rel=1e-9)
    # Two sines: the mean by amplitude, to the width of a bin; so does one in each of two channels.
    fade = np.clip(np.minimum(t, t[::-1]) / 0.1, 0.0, 1.0)
    low, high = fade * np.sin(2.0 * np.pi * 1000.0 * t), fade * np.sin(2.0 * np.pi * 4000.0 * t)
    assert read((3.0 * low + high)[None]).result() == pytest.approx(1750.0, abs=24.0)
    assert read(np.stack([3.0 * low, high])).result() == pytest.approx(1750.0, abs=24.0)


def test_silence_and_nothing_have_none() -> None:
    assert math.isnan(read(np.zeros((2, 9000))).result())
    assert math.isnan(read(np.zeros((1, 0))).result())


def test_refuses_what_is_not_finite() -> None:
    x = np.zeros((1, 9000))
    x[0, 50] = math.nan
    with pytest.raises(AudioError, match="not finite"):
        read(x).result()
