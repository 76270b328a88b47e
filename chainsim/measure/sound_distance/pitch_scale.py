"""Narrow bands that tell pitch: half a semitone each, from 200 Hz to 4.8 kHz, the lower partials of most notes.

A partial moved by 10 cents moves a fifth of its power, or more, from a band to the next. To each band is added what a
louder neighbour d semitones off leaves behind,

    20 + 3 d dB under it,                                                                                       (1)

so that only the partials that stand out count, and not the noise and the windows' leakage between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chainsim.units import Array

LOWEST_HZ = 200.0
"""From here on a band is wider than the bins of a transform over 0.17 s."""
BANDS_PER_OCTAVE = 24
PITCH_BANDS = 110
NEIGHBOUR_DB, SEMITONE_DB = 20.0, 3.0
LEAST_POWER = 10.0**-5.5
"""Against the common loudness: 15 dB over what the listening room holds."""


@dataclass(frozen=True)
class PitchBands:
    """Half semitones, each a triangle that ends in the middle of the next."""

    count: int = PITCH_BANDS

    def places(self, freq_hz: Array) -> Array:
        """Where frequencies lie on the grid of the bands; minus infinity for 0 Hz."""
        with np.errstate(divide="ignore"):
            places: Array = BANDS_PER_OCTAVE * np.log2(freq_hz / LOWEST_HZ)
        return places

    def spreading(self) -> Array:
        """Share of the power at each place that counts in each band, shape (bands, places): equation (1)."""
        n = np.arange(self.count)
        semitones = np.abs(n[:, np.newaxis] - n) * (12.0 / BANDS_PER_OCTAVE)
        shares: Array = np.eye(self.count) + (semitones > 0.0) * 10.0 ** (
            -0.1 * (NEIGHBOUR_DB + SEMITONE_DB * semitones)
        )
        return shares

    def forgetting_s(self) -> Array:
        """Time constants of what was louder before: none."""
        return np.zeros(self.count)
