"""Frames are as long as the notes in them ask for, and no longer."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from chainsim.dsp.peak_frames import LONGEST_S, cut_into_frames
from chainsim.dsp.peak_shifting import PeakShifter
from tests.dsp.test_peak_shifting import FS, SETTLED, db, ratio_of, shifted, tone

RATES_HZ = (44_100.0, 48_000.0, 96_000.0)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_four_periods_of_a_note_are_in_a_frame_if_50_ms_hold_a_power_of_two_of_them(rate_hz: float) -> None:
    # A Hann window's main lobe is four bins wide (F. J. Harris, Proc. IEEE 66 (1978), 51-83, table 1): harmonics part
    # from n = 4 periods on. Half of that many would not do.
    longest = 2 ** int(np.log2(LONGEST_S * rate_hz))
    for lowest_hz in np.geomspace(30.0, 700.0, 60):
        periods = cut_into_frames(lowest_hz, rate_hz).n * lowest_hz / rate_hz
        if longest * lowest_hz / rate_hz >= 4.0:
            assert 4.0 <= periods < 8.0
        else:
            assert periods == longest * lowest_hz / rate_hz


@pytest.mark.parametrize(("lowest_hz", "periods"), [(82.41, 3.5), (69.30, 3.0), (93.75, 4.0)])
def test_periods_of_low_notes_in_a_frame_at_48_khz(lowest_hz: float, periods: float) -> None:
    # E2, Db2, and the lowest of which 2048 samples hold four.
    assert cut_into_frames(lowest_hz, 48_000.0).n * lowest_hz / 48_000.0 == pytest.approx(periods, abs=0.05)


@pytest.mark.parametrize("steps", [-5.0, 7.0])
@pytest.mark.parametrize("lowest_hz", [142.0, 300.0, 600.0])
def test_harmonics_of_the_lowest_note_stand_apart(lowest_hz: float, steps: float) -> None:
    # Ideally nothing lies between the harmonics of a moved saw. Frames of half as much leave up to -7 dB there.
    y = shifted(tone(lowest_hz, 100), ratio_of(steps), shifter=PeakShifter(lowest_hz, FS, 1))[0, SETTLED:-SETTLED]
    power = np.abs(np.fft.rfft(y * signal.windows.blackmanharris(y.size))) ** 2
    hz = np.fft.rfftfreq(y.size, 1.0 / FS)
    f0_hz = lowest_hz * ratio_of(steps)
    own = np.abs(hz - f0_hz * np.maximum(np.round(hz / f0_hz), 1.0)) < 15.0
    assert db(np.sum(power[~own]) / np.sum(power[own])) < -40.0
