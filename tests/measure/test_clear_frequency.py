"""A frequency to test with, in responses given in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.clear_frequency import clear_frequency, depth_db
from chainsim.measure.filter_response import FilterResponse
from chainsim.measure.third_octaves import third_octaves
from chainsim.units import Array

FREQ_HZ = np.arange(20.0, 20_000.0, 0.5)
BANDS = third_octaves(48_000.0)


def response(gain: Array) -> FilterResponse:
    flat = np.zeros(len(BANDS))
    return FilterResponse(-30.0, BANDS, flat, flat - 100.0, FREQ_HZ, 20.0 * np.log10(gain + 1e-9), 0.0)


def test_a_comb() -> None:
    # |1 + e^(-2 pi i f D)| with its first notch at 440 Hz: 2 |cos(pi f / 880)|, at its mean power at 220 and 660 Hz.
    comb = response(2.0 * np.abs(np.cos(np.pi * FREQ_HZ / 880.0)))
    assert depth_db(comb, 440.0) > 20.0
    chosen_hz = clear_frequency(comb, 440.0)
    assert depth_db(comb, chosen_hz) < 2.0
    assert 220.0 < chosen_hz < 330.0 or 550.0 < chosen_hz < 660.0
    assert clear_frequency(comb, 300.0) == 300.0


def test_a_slope_and_silence_stay_where_they_are() -> None:
    # 12 dB an octave, power as f^4: the mean over two octaves of log f is (2^4 - 2^-4) / (8 ln 2).
    slope = response((FREQ_HZ / 1_000.0) ** 2)
    assert depth_db(slope, 440.0) == pytest.approx(10.0 * math.log10(15.9375 / (8.0 * math.log(2.0))), abs=0.05)
    assert clear_frequency(slope, 440.0) == 440.0
    unknown = response(np.full(FREQ_HZ.size, np.nan))
    assert clear_frequency(unknown, 440.0) == 440.0
