"""What a venue sends back of a sound: a reverberation, or one reflection."""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np

from chainsim.block import Context, Io, Moving
from chainsim.blocks.reverb import Reverb, ReverbSettings
from chainsim.dsp.biquad import biquad_df2t
from chainsim.house.air import air_filter
from chainsim.house.venues import Venue
from chainsim.measure.decay import octave_band
from chainsim.units import Array, Audio

MIDDLE_HZ = (500.0, 1000.0)
"""Octaves of the figures of room acoustics that are given as one number (ISO 3382-1)."""

BEGINS = 1e-3
"""Share of its peak at which a response is taken to begin."""

FIRST_S = 0.2
"""Within which the reverb's first reflection comes."""

EARS = 2


class LateField(Protocol):
    """Sends back a sound of one or two channels as two.

    Attributes
    ----------
    energy : float
        That comes back of an impulse in the middle octaves, at each ear, for energy 1.
    begins : int
        Samples until the first of it.
    tail_s : float
        How long it goes on.
    """

    energy: float
    begins: int
    tail_s: float

    def process(self, n0: int, x: Audio) -> Audio:
        """Take the span (channels, frames) that begins at frame n0, return one of shape (2, frames)."""


class Mirror:
    """One reflection, which comes through the air as what it mirrors does."""

    energy, begins = 1.0, 0
    tail_s = 0.02
    """In which the filter rings out, over any distance."""

    def __init__(self, distance_m: float, sample_rate_hz: float, channels: int) -> None:
        self._air = air_filter(distance_m, sample_rate_hz)
        self._state = np.zeros((channels, len(self._air), 2))

    def process(self, n0: int, x: Audio) -> Audio:
        """Both ears hear what came."""
        y = x.copy()
        biquad_df2t(self._air, self._state, y)
        return np.repeat(y, EARS // y.shape[0], axis=0)


class Reverberation:
    """The reverb block as a venue's sound field.

    At `wet_db` = 0 noise comes back as loud as it went in, so the energy is 1 in the mean: over 24 moments of its slow
    motion -0.13 to +0.08 dB by venue, with a spread of 0.2 dB.

    Parameters
    ----------
    venue : Venue
    sample_rate_hz : float
    channels : int
    stretch : float
        Of its size: two sources in one venue have paths of their own, so that they do not form a comb in its sound.
    """

    energy = 1.0

    def __init__(self, venue: Venue, sample_rate_hz: float, channels: int, stretch: float) -> None:
        decay_s = venue.field.decay_s
        settings = ReverbSettings(
            space=venue.space,
            decay_s=decay_s,
            low_ratio=venue.low_ratio,
            high_ratio=venue.high_ratio,
            size=min(max(venue.size * stretch, 0.4), 2.0),
            pre_delay_ms=0.0,
            low_cut_hz=20.0,
            dry_db=-math.inf,
            wet_db=0.0,
        )
        self._block = Reverb(settings)
        values = {"decay_s": decay_s, "dry_db": -math.inf, "wet_db": 0.0, "width": 1.0}
        self._values = {name: ReverbSettings.specs()[name].row_value(value) for name, value in values.items()}
        self._block.prepare(
            Context(
                sample_rate_hz,
                {"in": channels, "detector": channels},
                EARS,
                {name: (value, value) for name, value in values.items()},
            )
        )
        self.tail_s = self._block.tail_s
        impulse = np.zeros((channels, math.ceil(FIRST_S * sample_rate_hz)))
        impulse[:, 0] = 1.0
        self.begins = onset(self.process(0, impulse))
        self._block.reset()

    def process(self, n0: int, x: Audio) -> Audio:
        """What comes back; each sample goes through the same work, whatever the span."""
        frames = x.shape[1]
        y = np.empty((EARS, frames))
        rows = Moving({name: np.full(frames, value) for name, value in self._values.items()})
        self._block.process(Io(n0, frames, {"in": x, "detector": x}, {}, rows, y, np.empty((0, frames))))
        return y


def onset(response: Array, share: float = BEGINS) -> int:
    """Sample at which a response (channels, frames) first reaches this share of its peak."""
    loudest = np.max(np.abs(response), axis=0)
    return int(np.argmax(loudest >= share * np.max(loudest)))


def middle_energy(response: Array, sample_rate_hz: float) -> float:
    """Energy of a response (channels, frames) in the middle octaves, relative to an impulse, mean of the channels."""
    margin = math.ceil(0.02 * sample_rate_hz)
    padded = np.pad(response, ((0, 0), (margin, margin)))
    impulse = np.zeros(padded.shape[1])
    impulse[margin] = 1.0

    def energy(x: Array) -> float:
        return sum(float(np.sum(octave_band(x, sample_rate_hz, hz) ** 2)) for hz in MIDDLE_HZ)

    return sum(map(energy, padded)) / len(padded) / energy(impulse)
