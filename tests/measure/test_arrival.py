"""Latency by correlation and by a click: delays that were put in."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from chainsim.measure.arrival import find_click, find_copies, first_copy
from chainsim.units import Array

RATE_HZ = 48_000.0
NOISE = np.random.default_rng(5).standard_normal(24_000)


def delayed(samples: float, gain: float = 1.0) -> Array:
    """The noise later by a fraction of a sample too, by the phase of its transform."""
    spectrum = np.fft.rfft(NOISE, 48_000)
    turn = np.exp(-2j * np.pi * np.arange(spectrum.size) * samples / 48_000)
    return gain * np.fft.irfft(spectrum * turn, 48_000)


@pytest.mark.parametrize("samples", [0.0, 7.0, 100.5, 956.25, 12_000.3])
def test_latency_to_a_twentieth_of_a_sample(samples: float) -> None:
    # LA-1: the peak of white noise's cross-correlation, 0.05 sample.
    copy = first_copy(find_copies(NOISE, delayed(samples)[np.newaxis], RATE_HZ))
    assert copy is not None
    assert copy.samples == pytest.approx(samples, abs=0.01)
    assert copy.correlation > 0.6


def test_every_way_is_found_and_the_first_may_be_softer() -> None:
    y = delayed(96.0, 0.5) + delayed(1_053.0)
    copies = find_copies(NOISE, np.array([y, 0.1 * y]), RATE_HZ)
    assert [c.samples for c in copies] == pytest.approx([96.0, 1_053.0], abs=0.05)
    assert first_copy(copies) == copies[0]


def test_a_dark_sound_is_found_too() -> None:
    # First order at 300 Hz: of white noise 0.1 of the amplitude is left, and its peak comes at once.
    y = lfilter([0.0385], [1.0, -0.9615], np.concatenate([np.zeros(240), NOISE, np.zeros(24_000)]))
    copy = first_copy(find_copies(NOISE, y[np.newaxis], RATE_HZ))
    assert copy is not None
    assert copy.samples == pytest.approx(240.0, abs=1.0)
    assert copy.correlation > 0.5


def test_no_copy_is_told() -> None:
    other = np.random.default_rng(6).standard_normal((2, 48_000))
    assert find_copies(NOISE, other, RATE_HZ) == ()
    assert find_copies(NOISE, np.zeros((1, 48_000)), RATE_HZ) == ()
    assert first_copy(()) is None


def test_a_click_begins_20_db_under_its_peak() -> None:
    y = np.zeros((2, 100))
    y[0, 20], y[1, 30], y[0, 40] = 0.05, 0.2, 1.0
    assert find_click(y) == 30
    assert find_click(np.zeros((1, 100))) is None
