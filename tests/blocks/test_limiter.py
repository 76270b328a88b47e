"""The limiter on its own: what it leaves alone, and how its gain moves."""

from __future__ import annotations

import numpy as np
import pytest

from tests.blocks.harness import prepared, run

FS = 48_000


def hit(frames: int, at: int, height: float, length: int = 1) -> np.ndarray:
    """Quiet noise, and in it something loud."""
    x = 0.02 * np.random.default_rng(3).standard_normal((1, frames))
    x[0, at : at + length] += height
    return x


@pytest.mark.parametrize("look_ahead_ms", [1.5, 7.0])
def test_below_the_ceiling_no_bit_is_changed(look_ahead_ms: float) -> None:
    x = np.random.default_rng(1).uniform(-0.3, 0.3, (2, 8000))
    block = prepared("limiter", channels=2, look_ahead_ms=look_ahead_ms)
    delay = round(look_ahead_ms * 48.0)
    y, told = run(block, x, readings=True)
    assert block.latency_samples == delay
    assert (told == 1.0).all()
    assert y[:, delay:].tobytes() == x[:, :-delay].tobytes()
    assert not y[:, :delay].any()


def test_after_a_peak_the_gain_comes_all_the_way_back() -> None:
    x = hit(FS, 1000, 9.0)
    y, told = run(prepared("limiter", release_ms=20.0), x, readings=True)
    assert told.min() < 0.15
    assert (told[0, FS // 2 :] == 1.0).all()
    assert y[:, FS // 2 :].tobytes() == x[:, FS // 2 - 72 : -72].tobytes()


def test_the_gain_is_down_in_time_and_has_neither_step_nor_corner() -> None:
    x = hit(6000, 2000, 8.0, 500)
    block = prepared("limiter", look_ahead_ms=5.0)
    _, told = run(block, x, readings=True)
    reduction_db = -20.0 * np.log10(told[0])
    arrival = 2000 + int(block.latency_samples)
    begin, full = int(np.flatnonzero(reduction_db)[0]), reduction_db[arrival]
    # it begins when the step is near enough to be seen, and is down a moment before the step comes out
    assert arrival - block.latency_samples <= begin < arrival
    assert full == pytest.approx(reduction_db.max(), abs=0.01)
    # 240 samples less the 20 of the interpolator; two equal means in a row give a triangle, steepest at 2 / 220 of
    # the way a sample, whose slope changes by 1 / 110^2 of the way; crests of the step's own ringing add a little
    assert np.diff(reduction_db).max() < 1.2 * full * 2.0 / 220.0
    assert np.abs(np.diff(reduction_db[: arrival + 300], 2)).max() < 2.0 * full / 110.0**2


def test_one_gain_for_both_channels() -> None:
    x = np.vstack([hit(4000, 1500, 5.0)[0], 0.1 * np.random.default_rng(4).standard_normal(4000)])
    y, told = run(prepared("limiter", channels=2), x, readings=True)
    assert told.min() < 0.25
    assert np.array_equal(y[:, 72:], told[:, 72:] * x[:, :-72])


def test_a_second_peak_within_the_hold_finds_the_gain_still_down() -> None:
    x = hit(9000, 2000, 6.0)
    x[0, 2700] = -6.0
    _, told = run(prepared("limiter", hold_ms=20.0), x, readings=True)
    between = told[0, 2072:2773]
    assert between.max() - between.min() < 0.01 * (1.0 - between.min())


@pytest.mark.parametrize("freq_hz", [65.4, 80.0])  # C2, the bottom of a baritone saxophone or bass clarinet; and above
def test_low_note_is_not_distorted(freq_hz: float) -> None:
    t = np.arange(2 * FS) / FS
    y = run(prepared("limiter", ceiling_dbtp=-12.0), np.sin(2.0 * np.pi * freq_hz * t)[None])[0, FS:]
    window = np.hanning(FS)
    spectrum = np.abs(np.fft.rfft(y * window))  # one second: a bin is 1 Hz
    harmonics = np.abs(np.arange(spectrum.size) - freq_hz) > 40.0
    assert np.abs(y).max() == pytest.approx(10.0 ** (-12.0 / 20.0), rel=0.002)
    assert spectrum[harmonics].max() < 1e-5 * spectrum.max()
