"""Division by counting against exact times of crossings, and its steps against the B-spline they are made of."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.interpolate import BSpline
from scipy.optimize import brentq

from chainsim.dsp.frequency_division import LATE, divide_frequency, rest, spline_step

FS = 48_000


def divided(v: np.ndarray, envelope: float, hysteresis: float, floor: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Squares of a half and of a quarter of the frequency."""
    by_two, by_four = np.empty((2, v.size))
    divide_frequency(v, np.full(v.size, envelope), hysteresis, floor, *rest(), by_two, by_four)
    return by_two, by_four


def test_step_is_the_integral_of_the_cubic_b_spline() -> None:
    spline = BSpline.basis_element([-2.0, -1.0, 0.0, 1.0, 2.0])
    for t in (-2.0, -1.7, -1.0, -0.3, 0.0):
        assert spline_step(t) == pytest.approx(float(spline.integrate(-2.0, t)), abs=1e-14)


@pytest.mark.parametrize("f0", [997, 1_249, 2_637])
def test_spectrum_is_that_of_ideal_squares_times_sinc_to_the_fourth(f0: int) -> None:
    """Every harmonic k of an ideal square of frequency f0 / 2, 2 / (pi k) times 2, and every alias, times sinc^4.

    (Two samples and a triangle give sinc^2: Valimaki, Huovilainen, IEEE SP Magazine 24(2), 2007; four and a cubic
    B-spline, which is that triangle convolved with itself, give its square.) A crossing is found on a straight line:
    for the trigger to hear none but exact ones it is fed a saw that rises by f0 a second through zero.
    """
    seconds = 2  # a whole number of periods of f0 / 4, and of samples
    n = np.arange(3 * seconds * FS, dtype=np.float64)
    saw = 2.0 * np.mod(n * f0 / FS + 0.37, 1.0) - 1.0
    for square, freq_hz in zip(divided(saw, 1.0, 0.0), (0.5 * f0, 0.25 * f0), strict=True):
        size = 2 * seconds * FS
        found = np.abs(np.fft.rfft(square[-size:])) * 2.0 / size
        expected = np.zeros(size, dtype=complex)
        bin_hz = FS / size
        period = FS / freq_hz
        begin = np.argmax((square[-size:-1] < 0.0) & (square[1 - size :] >= 0.0))
        start = begin + square[begin - size] / (square[begin - size] - square[begin - size + 1])
        for k in range(1, int(400_000.0 / freq_hz), 2):
            turn = -0.5j * np.exp(-2j * np.pi * k * start / period)
            for sign, value in ((1, turn), (-1, np.conj(turn))):
                at = round(sign * k * freq_hz / bin_hz) % size
                expected[at] += value * 4.0 / (math.pi * k) * np.sinc(k * freq_hz / FS) ** 4
        wanted = 2.0 * np.abs(expected[: size // 2 + 1])
        assert np.abs(found - wanted).max() < 2e-5
        assert wanted.max() > 1.2  # 4 / pi


def test_steps_lie_at_the_crossings() -> None:
    """A sine of peak 1 passes h at asin(h) / w, which a straight line between samples misses by tan(asin h) w / 8."""
    f0, hysteresis = 440.0, 0.3
    n = np.arange(FS // 2)
    by_two, by_four = divided(np.sin(2.0 * np.pi * f0 * n / FS - 0.4), 1.0, hysteresis)
    first = (math.asin(hysteresis) + 0.4) / (2.0 * np.pi * f0) * FS
    for square, every in ((by_two, 1), (by_four, 2)):
        # the smoothed step passes zero at its own middle, for it is odd about it; on the curve between four samples
        k = np.flatnonzero(square[:-1] * square[1:] < 0.0)
        found = np.array([middle_of_step(square, at) for at in k]) - LATE
        missed = math.tan(math.asin(hysteresis)) * 2.0 * math.pi * f0 / FS / 8.0
        assert found == pytest.approx(first + np.arange(found.size) * every * FS / f0, abs=1.01 * missed)


def middle_of_step(square: np.ndarray, k: int) -> float:
    """Where a step between samples k and k + 1 passes zero: at k the spline is `share` before its middle."""
    height = abs(square[k]) if square[k + 1] > 0.0 else square[k]
    return k + brentq(lambda share: 1.0 - 2.0 * spline_step(-share) - height, 0.0, 1.0)


def test_small_swings_do_not_count() -> None:
    """A second harmonic of 0.8 beside a first of 1 passes zero four times a period, +-0.3 of the crest only twice."""
    t = np.arange(FS) / FS
    v = np.sin(2.0 * np.pi * 200.0 * t) + 0.8 * np.sin(2.0 * np.pi * 400.0 * t)
    crest = float(v.max())
    turns = {h: int(np.count_nonzero(np.diff(np.sign(divided(v, crest, h)[0][FS // 2 :])))) for h in (0.0, 0.4)}
    assert turns == {0.0: 200, 0.4: 100}


def test_nothing_turns_below_the_floor() -> None:
    v = np.sin(2.0 * np.pi * 200.0 * np.arange(4_800) / FS)
    assert np.all(divided(v, 1.0, 0.2, floor=1.0)[0] == -1.0)
