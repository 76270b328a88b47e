"""The ear's bands, and what in them is too soft to count.

Critical-band rate after Traunmueller [1]_, in Bark:

    z(f) = 26.81 f / (1960 + f) - 0.53                                                                         (1)

Slopes of the excitation after Terhardt [2]_, in dB a Bark, for a partial of level L in dB at f in Hz:

    27 downwards,   24 + 230 / f - 0.2 L upwards: here 12, of L = 60 dB                                         (2)

so that what a louder neighbour masks shows little. Threshold in quiet [2]_, f in kHz, in dB of sound pressure:

    T(f) = 3.64 f^-0.8 - 6.5 exp(-0.6 (f - 3.3)^2) + 10^-3 f^4                                                 (3)

References
----------
.. [1] H. Traunmueller, "Analytical expressions for the tonotopic sensory scale", J. Acoust. Soc. Am. 88, 1990, 97-100.
.. [2] E. Terhardt, "Calculating virtual pitch", Hearing Research 1, 1979, 155-182.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chainsim.units import Array

HIGHEST_BARK = 23.0
"""14.9 kHz. The bands begin at 0 Bark, 40 Hz; what lies outside of both does not count."""
FINE_BARK = 0.25
LOWER_SLOPE_DB, UPPER_SLOPE_DB = 27.0, 12.0
LISTENING_DB = 80.0
"""Sound pressure level at which every sound is taken to be heard, once it is brought to the common loudness."""
ROOM_DB = 10.0
"""Level in each band of what the listening room holds by itself."""
SHORTEST_S, AT_100_HZ_S = 0.008, 0.030
"""Time constants of what was louder before."""


@dataclass(frozen=True)
class EarBands:
    """So many bands of one width in Bark."""

    count: int

    def places(self, freq_hz: Array) -> Array:
        """Where frequencies lie on the fine grid of rates."""
        places: Array = bark(freq_hz) / FINE_BARK
        return places

    def spreading(self) -> Array:
        """Share of the power at each rate of the fine grid that excites each band, shape (bands, rates)."""
        return spreading(self.count)

    def forgetting_s(self) -> Array:
        """Time constants of what was louder before: 8 ms + (100 Hz / f) 22 ms, as in BS.1387-1, from memory."""
        tau_s: Array = SHORTEST_S + (100.0 / hertz(band_middles(self.count))) * (AT_100_HZ_S - SHORTEST_S)
        return tau_s


def bark(freq_hz: Array) -> Array:
    """Critical-band rate of frequencies in Hz: equation (1)."""
    z: Array = 26.81 * freq_hz / (1960.0 + freq_hz) - 0.53
    return z


def hertz(z: Array) -> Array:
    """Frequency of a critical-band rate: equation (1) turned round."""
    freq_hz: Array = 1960.0 * (z + 0.53) / (26.28 - z)
    return freq_hz


def band_middles(bands: int) -> Array:
    """Middles in Bark of so many bands of one width."""
    middles: Array = (np.arange(bands, dtype=np.float64) + 0.5) * (HIGHEST_BARK / bands)
    return middles


def fine_grid() -> Array:
    """Rates in Bark to which the bins of a transform are gathered before they are spread."""
    grid: Array = FINE_BARK * np.arange(round(HIGHEST_BARK / FINE_BARK) + 1, dtype=np.float64)
    return grid


def spreading(bands: int) -> Array:
    """Share of the power at each rate of the fine grid that excites each band, shape (bands, rates).

    By the slopes (2), as the mean over the band's width.
    """
    width = HIGHEST_BARK / bands
    offsets = width * ((np.arange(16) + 0.5) / 16.0 - 0.5)
    d = band_middles(bands)[:, np.newaxis, np.newaxis] + offsets - fine_grid()[:, np.newaxis]
    shares_db = np.where(d < 0.0, LOWER_SLOPE_DB * d, -UPPER_SLOPE_DB * d)
    shares: Array = np.mean(10.0 ** (shares_db / 10.0), axis=2)
    return shares


def least_power(bands: int) -> Array:
    """Power of each band that is hardly heard, against the common loudness: threshold in quiet and the room's noise."""
    khz = hertz(band_middles(bands)) / 1000.0
    quiet_db = 3.64 * khz**-0.8 - 6.5 * np.exp(-0.6 * (khz - 3.3) ** 2) + 1e-3 * khz**4
    least: Array = (10.0 ** (quiet_db / 10.0) + 10.0 ** (ROOM_DB / 10.0)) * 10.0 ** (-LISTENING_DB / 10.0)
    return least
