"""Noise with nothing in: bandwidth, weighting and offset against closed forms and the standard's table."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.idle_noise import a_weighting, measure_idle_noise

RATE_HZ = 48_000.0


# IEC 61672-1:2013, table 3: third octaves from 20 Hz to 20 kHz, rounded there to 0.1 dB.
TABLE_DB = [
    *(-50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8),
    *(0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3),
]
EXACT_HZ = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)


def test_a_weighting() -> None:
    assert 20.0 * np.log10(a_weighting(EXACT_HZ)) == pytest.approx(TABLE_DB, abs=0.06)


def test_white_noise_counts_from_20_hz_to_20_khz() -> None:
    x = 1e-3 * np.random.default_rng(1).standard_normal((2, 96_000))
    x[1] *= 0.1
    read = measure_idle_noise(x, RATE_HZ)
    assert read.rms_dbfs == pytest.approx(-60.0 + 10.0 * math.log10((20_000.0 - 20.0) / 24_000.0), abs=0.1)
    widths_hz = np.diff(np.append(EXACT_HZ * 10.0**-0.05, 20_000.0))
    weighted = np.sum(widths_hz * 10.0 ** (np.array(TABLE_DB) / 10.0)) / 24_000.0
    assert read.a_weighted_dbfs == pytest.approx(-60.0 + 10.0 * math.log10(weighted), abs=0.15)


def test_offset_and_tones_are_told_apart() -> None:
    t = np.arange(48_000) / RATE_HZ
    x = 0.01 + 0.1 * np.sin(2.0 * np.pi * 1_000.0 * t) + 0.5 * np.sin(2.0 * np.pi * 10.0 * t)
    read = measure_idle_noise(x[np.newaxis], RATE_HZ)
    assert read.dc_dbfs == pytest.approx(-40.0, abs=1e-6)
    assert read.rms_dbfs == pytest.approx(-20.0 - 10.0 * math.log10(2.0), abs=1e-6)
    assert read.a_weighted_dbfs == pytest.approx(read.rms_dbfs, abs=0.01)


def test_silence() -> None:
    read = measure_idle_noise(np.zeros((1, 4_800)), RATE_HZ)
    assert (read.rms_dbfs, read.a_weighted_dbfs, read.dc_dbfs) == (-math.inf, -math.inf, -math.inf)
