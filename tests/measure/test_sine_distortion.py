"""Distortion of a sine against the Fourier series of known curves."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from chainsim.measure.sine_distortion import measure_sine, sine_frequency
from chainsim.units import Array

RATE_HZ = 48_000.0
FRAMES = 4_800
SINE = np.sin(2.0 * np.pi * 440.0 / RATE_HZ * np.arange(FRAMES))


@pytest.mark.parametrize(
    ("curve", "amplitude", "thd_percent"),
    [  # Fourier integrals: tanh(A sin) by quadrature; clip in closed form, sums to 20 kHz.
        (np.tanh, 0.5, 1.962),
        (np.tanh, 1.0, 6.706),
        (np.tanh, 2.0, 17.341),
        (lambda v: np.clip(v, -1.0, 1.0), 1.25, 8.979),
        (lambda v: np.clip(v, -1.0, 1.0), 2.0, 23.294),
    ],
)
def test_thd_of_known_curves(curve: Callable[[Array], Array], amplitude: float, thd_percent: float) -> None:
    read = measure_sine(curve(amplitude * SINE)[np.newaxis], RATE_HZ, 440.0, 0.0)
    assert read.thd_percent == pytest.approx(thd_percent, rel=0.002)


def test_what_is_no_harmonic_counts_as_noise_only() -> None:
    other = 0.01 * np.sin(2.0 * np.pi * 1_000.0 / RATE_HZ * np.arange(FRAMES))
    read = measure_sine((SINE + other + 0.3)[np.newaxis], RATE_HZ, 440.0, 0.0)
    assert read.thd_percent < 1e-3
    # Relative to the whole: 0.01 / sqrt(1 + 0.01^2); the offset is not counted.
    assert read.thd_n_percent == pytest.approx(1.0, rel=0.001)


def test_harmonics_that_are_lost_in_noise_are_not_told() -> None:
    noise = 0.01 * np.random.default_rng(6).standard_normal(FRAMES)
    lost = measure_sine((SINE + noise)[np.newaxis], RATE_HZ, 440.0, 0.0)
    assert math.isnan(lost.thd_percent)
    # White noise of variance s^2 to 20 of 24 kHz beside a power of 1/2.
    assert lost.thd_n_percent == pytest.approx(100.0 * math.sqrt(1e-4 * 20.0 / 24.0 / 0.5), rel=0.05)
    third = 0.05 * np.sin(2.0 * np.pi * 1_320.0 / RATE_HZ * np.arange(FRAMES))
    assert measure_sine((SINE + noise + third)[np.newaxis], RATE_HZ, 440.0, 0.0).thd_percent == pytest.approx(
        5.0, rel=0.03
    )


def test_what_an_echo_may_have_left_is_no_noise() -> None:
    other = 0.001 * np.sin(2.0 * np.pi * 1_000.0 / RATE_HZ * np.arange(FRAMES))
    y = (SINE + other)[np.newaxis]
    assert measure_sine(y, RATE_HZ, 440.0, 0.0, -70.0).thd_n_percent == pytest.approx(0.1, rel=0.01)
    assert math.isnan(measure_sine(y, RATE_HZ, 440.0, 0.0, -65.0).thd_n_percent)
    assert measure_sine(SINE[np.newaxis], RATE_HZ, 440.0, 0.0, -65.0).thd_n_percent < 1e-3


def test_levels_are_those_of_sines() -> None:
    read = measure_sine(np.array([0.5 * SINE, 0.5 * SINE]), RATE_HZ, 440.0, -10.0)
    assert read.out_dbfs == pytest.approx(20.0 * math.log10(0.5), abs=1e-9)
    assert read.gain_db == pytest.approx(10.0 + 20.0 * math.log10(0.5), abs=1e-9)


def test_where_the_sine_is_not_there_nothing_is_told() -> None:
    octave_lower = np.sin(2.0 * np.pi * 220.0 / RATE_HZ * np.arange(FRAMES))
    assert math.isnan(measure_sine(octave_lower[np.newaxis], RATE_HZ, 440.0, 0.0).thd_percent)
    silent = measure_sine(np.zeros((1, FRAMES)), RATE_HZ, 440.0, 0.0)
    assert silent.out_dbfs == -math.inf
    assert math.isnan(silent.gain_db)


def test_whole_periods_at_every_rate() -> None:
    for rate_hz in (8_000.0, 44_100.0, 48_000.0, 96_000.0):
        frames = round(0.1 * rate_hz)
        assert sine_frequency(440.0, frames, rate_hz) * frames / rate_hz == pytest.approx(44.0)
