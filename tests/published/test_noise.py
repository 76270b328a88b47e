"""Noise against closed forms: level and density at every rate, its distribution, the thermal noise of a resistor."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import welch
from scipy.stats import kstest, kurtosis, skew

from tests.blocks.harness import prepared, run

RATES_HZ = [44_100, 96_000]
BAND_HZ = 20_000.0 - 20.0


def floor(seconds: float, rate_hz: float = 48_000, **settings: object) -> np.ndarray:
    """What is added to silence."""
    x = np.zeros((1, round(seconds * rate_hz)))
    return run(prepared("noise", sample_rate_hz=rate_hz, **settings), x)[0]


def band_db(y: np.ndarray, rate_hz: float) -> float:
    """Level between 20 Hz and 20 kHz: rms in dB relative to 1, by Parseval's theorem."""
    power = 2.0 * np.abs(np.fft.rfft(y)) ** 2 / y.size**2
    freq_hz = np.fft.rfftfreq(y.size, 1.0 / rate_hz)
    return 10.0 * math.log10(float(np.sum(power[(freq_hz >= 20.0) & (freq_hz <= 20_000.0)])))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("colour", ["white", "pink"])
def test_its_level_is_that_of_the_audible_band(colour: str, rate_hz: int) -> None:
    """White: 4 s have 160000 independent values, 0.015 dB; pink, whose lowest octave has few: 0.3 dB."""
    y = floor(4.0, rate_hz, colour=colour, level_db=-60.0)
    assert band_db(y, rate_hz) == pytest.approx(-60.0, abs=0.06 if colour == "white" else 0.3)


@pytest.mark.parametrize("rate_hz", [8_000, *RATES_HZ])
@pytest.mark.parametrize("colour", ["white", "pink"])
def test_its_density_is_the_same_at_every_rate(colour: str, rate_hz: int) -> None:
    """P(f) = 1 / 19980 Hz, or 1 / (f ln 1000), third by third of an octave, at an rms of 1."""
    y = floor(6.0, rate_hz, colour=colour, level_db=0.0)
    freq_hz, density = welch(y, rate_hz, nperseg=1 << round(math.log2(rate_hz / 3.0)))
    for middle_hz in 1000.0 * 2.0 ** (np.arange(-10, 14) / 3.0):
        band = (freq_hz >= middle_hz * 2.0 ** (-1.0 / 6.0)) & (freq_hz < middle_hz * 2.0 ** (1.0 / 6.0))
        if middle_hz * 2.0 ** (1.0 / 6.0) > 0.47 * rate_hz:
            continue
        right = 1.0 / BAND_HZ if colour == "white" else float(np.mean(1.0 / freq_hz[band])) / math.log(1000.0)
        # Four standard deviations of the mean over some 30 segments and the bins of the band, of which, with the
        # Hann window that welch takes, 1.5 count as one independent value (its equivalent noise bandwidth).
        spread_db = 4.0 * 10.0 / math.log(10.0) / math.sqrt(30.0 * np.count_nonzero(band) / 1.5)
        assert 10.0 * math.log10(float(np.mean(density[band])) / right) == pytest.approx(0.0, abs=spread_db + 0.06)


def test_it_is_gaussian_and_white() -> None:
    """Skewness 0 and excess kurtosis 0, within four standard errors sqrt(6 / n) and sqrt(24 / n); no two alike.

    Pink noise is a sum of such numbers, and so Gaussian as well.
    """
    y = floor(10.0, level_db=-20.0)
    n = y.size
    assert abs(skew(y)) < 4.0 * math.sqrt(6.0 / n)
    assert abs(kurtosis(y)) < 4.0 * math.sqrt(24.0 / n)
    assert kstest(y[:100_000] / np.std(y[:100_000]), "norm").pvalue > 0.001
    for lag in (1, 2, 3, 64):
        assert abs(np.corrcoef(y[:-lag], y[lag:])[0, 1]) < 4.0 / math.sqrt(n)
        # within a pair the squares would tell what the numbers do not
        assert abs(np.corrcoef(y[:-lag] ** 2, y[lag:] ** 2)[0, 1]) < 4.0 / math.sqrt(n)
    assert 4.5 < np.max(np.abs(y)) / np.std(y) < 6.0  # expected of half a million: 4.9


def test_a_microphone_of_150_ohms_sounds_as_nyquist_says() -> None:
    """sqrt(4 k T R B): 0.219 uV in 20 kHz at 290 K, -130.96 dBu (CODATA k; 0 dBu is sqrt(0.6) V).

    Written down behind 50 dB of gain, with 0 dBFS (a sine's peak) at +18 dBu, that is an rms of -65.97 dB.
    """
    volts = math.sqrt(4.0 * 1.380649e-23 * 290.0 * 150.0 * BAND_HZ)
    dbu = 20.0 * math.log10(volts / math.sqrt(0.6))
    assert dbu == pytest.approx(-130.96, abs=0.01)
    full_scale_rms_dbu = 18.0 + 20.0 * math.log10(math.sqrt(2.0))  # an rms of 1.0 is 3 dB over the full-scale sine
    y = floor(4.0, level_db=dbu + 50.0 - full_scale_rms_dbu)
    freq_hz, density = welch(y, 48_000, nperseg=4_096)
    there = (freq_hz > 500.0) & (freq_hz < 15_000.0)
    volts_per_root_hz = np.sqrt(np.mean(density[there])) * math.sqrt(0.6) * 10.0 ** ((full_scale_rms_dbu - 50.0) / 20.0)
    assert volts_per_root_hz == pytest.approx(math.sqrt(4.0 * 1.380649e-23 * 290.0 * 150.0), rel=0.01)  # 1.55 nV
