"""The Fourier transforms that kernels call: against numpy's, at every size."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.dsp.real_fft import GREATEST, SMALLEST, fft_work, inverse_real_fft, real_fft, twiddles

SIZES = [1 << k for k in range(SMALLEST.bit_length() - 1, GREATEST.bit_length())]
TABLE, WORK = twiddles(GREATEST), fft_work(GREATEST)
EXACT = 1e-15
"""Some rounding errors of float64 (2.2e-16), relative to the rms: the error grows as the root of log n."""


def spectrum(x: np.ndarray, n: int) -> np.ndarray:
    re, im = np.full((2, GREATEST), np.nan)
    real_fft(x, n, TABLE, WORK, re, im)
    assert np.all(np.isnan([re[n // 2 + 1 :], im[n // 2 + 1 :]]))
    return re[: n // 2 + 1] + 1j * im[: n // 2 + 1]


def sound(z: np.ndarray, n: int) -> np.ndarray:
    y = np.full(GREATEST + 1, np.nan)
    re, im = np.ascontiguousarray(z.real), np.ascontiguousarray(z.imag)
    inverse_real_fft(re, im, n, TABLE, WORK, y)
    assert np.all(np.isnan(y[n:]))
    return y[:n] / (n / 2)


def error(found: np.ndarray, right: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.abs(found - right) ** 2) / np.mean(np.abs(right) ** 2)))


@pytest.mark.parametrize("n", SIZES)
def test_spectrum_is_that_of_numpy(n: int) -> None:
    x = np.random.default_rng(n).standard_normal(n)
    assert error(spectrum(x, n), np.fft.rfft(x)) < EXACT


@pytest.mark.parametrize("n", SIZES)
def test_sound_is_that_of_numpy(n: int) -> None:
    rng = np.random.default_rng(n)
    z = rng.standard_normal(n // 2 + 1) + 1j * rng.standard_normal(n // 2 + 1)
    # Also where the ends are not real, of which a real sound knows nothing.
    assert error(sound(z, n), np.fft.irfft(z)) < EXACT


@pytest.mark.parametrize("n", SIZES)
def test_there_and_back(n: int) -> None:
    x = np.random.default_rng(n).standard_normal(n)
    assert error(sound(spectrum(x, n), n), x) < EXACT


@pytest.mark.parametrize("n", SIZES)
def test_power_is_kept(n: int) -> None:
    # Parseval: sum of x^2 = (X[0]^2 + 2 sum of |X[k]|^2 + X[n/2]^2) / n.
    x = np.random.default_rng(n).standard_normal(n)
    power = np.abs(spectrum(x, n)) ** 2
    assert (2.0 * np.sum(power) - power[0] - power[-1]) / n == pytest.approx(np.sum(x**2), rel=1e-13)


@pytest.mark.parametrize("n", SIZES)
def test_one_sine_is_one_line(n: int) -> None:
    # Closed form: cos(2 pi k i / n + phi) has X[k] = n / 2 exp(j phi) and nothing else.
    for k in (1, 3, n // 4, n // 2 - 1):
        z = spectrum(np.cos(2.0 * np.pi * (k * np.arange(n) % n) / n + 0.7), n)
        right = np.zeros(n // 2 + 1, complex)
        right[k] = n / 2 * np.exp(0.7j)
        assert np.max(np.abs(z - right)) < 1e-13 * n


def test_the_same_table_whatever_the_greatest_size() -> None:
    x = np.random.default_rng(1).standard_normal(256)
    re, im = np.zeros((2, 129))
    real_fft(x, 256, twiddles(256), fft_work(256), re, im)
    assert (re + 1j * im).tobytes() == spectrum(x, 256).tobytes()


@pytest.mark.parametrize("n", [0, 8, 24, 1000, 32768])
def test_other_sizes_are_refused(n: int) -> None:
    with pytest.raises(ValueError, match="allowed a power of two from 16 to 16384"):
        twiddles(n)
