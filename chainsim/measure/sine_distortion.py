"""A steady sine and what came out for it: level, harmonic distortion, and all that is not the sine.

    THD = sqrt(a2^2 + a3^2 + ...) / a1,   THD+N = sqrt(P - P1) / sqrt(P),   both from 40 Hz to 20 kHz             (1)

with a_k the amplitudes of the harmonics, P the whole power and P1 that around the fundamental: THD relative to the
fundamental, THD+N relative to the whole (AES17). Channels are added by power. Harmonics count only where they stand
out of what lies half-way between them, and noise only where it is more than echoes that have not settled may leave.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.measure.spectrum import amplitude_spectrum
from chainsim.units import Audio, db_to_gain, gain_to_db

WINDOW = "blackmanharris"
MAIN_LOBE = 4
"""Bins to either side of a sine that its window spreads it over."""
NOISE_BINS = 2.0044
"""Equivalent noise bandwidth of the window, in bins (F. J. Harris, Proc. IEEE 66, 1978)."""
HIGHEST_HZ = 20_000.0
FAINTEST_SHARE = 1e-3
"""Power of the fundamental in the whole: of less, distortion cannot be told."""


STANDS_OUT = 4.0
"""Power of harmonics over that of as many bins between them."""
NOTHING_PERCENT = 0.0005
"""Rounds to 0.000."""
UNSETTLED_SHARE = 2.0


@dataclass(frozen=True)
class SineFigures:
    """Levels are peak amplitudes of a sine of the same power, so a full-scale sine has 0 dBFS."""

    in_dbfs: float
    out_dbfs: float
    """Of all that came out, mean power of the channels."""
    thd_percent: float
    """NaN where the sine itself is hardly there, or its harmonics are lost in noise."""
    thd_n_percent: float
    """NaN where the sine is hardly there, or what has not settled may be as much."""

    @property
    def gain_db(self) -> float:
        """How much louder it came out; NaN for silence."""
        gain = self.out_dbfs - self.in_dbfs
        return gain if math.isfinite(gain) else math.nan

    def undistorted(self) -> SineFigures:
        """The same levels without distortion, for a chain that adds notes of its own."""
        return SineFigures(self.in_dbfs, self.out_dbfs, math.nan, math.nan)


def sine_frequency(near_hz: float, frames: int, sample_rate_hz: float) -> float:
    """The frequency next to `near_hz` of which `frames` frames hold whole periods."""
    return max(1, round(near_hz * frames / sample_rate_hz)) * sample_rate_hz / frames


def unsettled_percent(unsettled_db: float) -> float:
    """THD+N that the trace of a sine's beginning may come to, twice its share."""
    return UNSETTLED_SHARE * 100.0 * db_to_gain(unsettled_db)


def measure_sine(
    y: Audio, sample_rate_hz: float, freq_hz: float, in_dbfs: float, unsettled_db: float = -math.inf
) -> SineFigures:
    """Measure whole periods of a steady sine of `freq_hz` that went in at `in_dbfs`; y has shape (channels, frames).

    Of what came out, about `unsettled_db` may be the trace of the sine's own beginning.
    """
    power = sum(amplitude_spectrum(row, sample_rate_hz, WINDOW)[1] ** 2 for row in y) / y.shape[0]
    out_dbfs = gain_to_db(math.sqrt(2.0 * float(np.mean(y**2))))
    bin_of = round(freq_hz * y.shape[1] / sample_rate_hz)
    last = min(power.size, int(HIGHEST_HZ * y.shape[1] / sample_rate_hz) + 1)
    whole = float(np.sum(power[MAIN_LOBE:last])) / NOISE_BINS
    around = float(np.sum(power[bin_of - MAIN_LOBE : bin_of + MAIN_LOBE + 1])) / NOISE_BINS
    if whole <= 0.0 or around < FAINTEST_SHARE * whole:
        return SineFigures(in_dbfs, out_dbfs, math.nan, math.nan)
    harmonics, between = (float(np.sum(power[at:last:bin_of])) for at in (2 * bin_of, bin_of + bin_of // 2))
    thd = 100.0 * math.sqrt(harmonics / float(power[bin_of]))
    thd_n = 100.0 * math.sqrt(max(whole - around, 0.0) / whole)
    if harmonics < STANDS_OUT * between and thd >= NOTHING_PERCENT:
        thd = math.nan
    if NOTHING_PERCENT <= thd_n < unsettled_percent(unsettled_db):
        thd_n = math.nan
    return SineFigures(in_dbfs, out_dbfs, thd, thd_n)
