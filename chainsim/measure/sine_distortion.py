"""A steady sine and what came out for it: level, harmonic distortion, and all that is not the sine.

    THD = sqrt(a2^2 + a3^2 + ...) / a1,   THD+N = sqrt(P - P1) / sqrt(P),   both from 40 Hz to 20 kHz             (1)

with a_k the amplitudes of the harmonics, P the whole power and P1 that around the fundamental: THD relative to the
fundamental, THD+N relative to the whole (AES17). Channels are added by power.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.measure.spectrum import amplitude_spectrum
from chainsim.units import Audio, gain_to_db

WINDOW = "blackmanharris"
MAIN_LOBE = 4
"""Bins to either side of a sine that its window spreads it over."""
NOISE_BINS = 2.0044
"""Equivalent noise bandwidth of the window, in bins (F. J. Harris, Proc. IEEE 66, 1978)."""
HIGHEST_HZ = 20_000.0
FAINTEST_SHARE = 1e-3
"""Power of the fundamental in the whole: of less, distortion cannot be told."""


@dataclass(frozen=True)
class SineFigures:
    """Levels are peak amplitudes of a sine of the same power, so a full-scale sine has 0 dBFS."""

    in_dbfs: float
    out_dbfs: float
    """Of all that came out, mean power of the channels."""
    thd_percent: float
    """NaN where the sine itself is hardly there."""
    thd_n_percent: float

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


def measure_sine(y: Audio, sample_rate_hz: float, freq_hz: float, in_dbfs: float) -> SineFigures:
    """Measure whole periods of a steady sine of `freq_hz` that went in at `in_dbfs`; y has shape (channels, frames)."""
    power = sum(amplitude_spectrum(row, sample_rate_hz, WINDOW)[1] ** 2 for row in y) / y.shape[0]
    out_dbfs = gain_to_db(math.sqrt(2.0 * float(np.mean(y**2))))
    bin_of = round(freq_hz * y.shape[1] / sample_rate_hz)
    last = min(power.size, int(HIGHEST_HZ * y.shape[1] / sample_rate_hz) + 1)
    whole = float(np.sum(power[MAIN_LOBE:last])) / NOISE_BINS
    around = float(np.sum(power[bin_of - MAIN_LOBE : bin_of + MAIN_LOBE + 1])) / NOISE_BINS
    if whole <= 0.0 or around < FAINTEST_SHARE * whole:
        return SineFigures(in_dbfs, out_dbfs, math.nan, math.nan)
    harmonics = float(np.sum(power[2 * bin_of : last : bin_of]))
    thd = math.sqrt(harmonics / float(power[bin_of]))
    return SineFigures(in_dbfs, out_dbfs, 100.0 * thd, 100.0 * math.sqrt(max(whole - around, 0.0) / whole))
