"""The way of one source to one seat, as sound: direct through the air, and by way of the venue."""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.biquad import biquad_df2t
from chainsim.house.air import air_filter, travel_s
from chainsim.house.delaying import DelayLine
from chainsim.house.late_field import LateField
from chainsim.house.sound_field import Reflected
from chainsim.units import Audio


class SoundPath:
    """Carries a sound of one or two channels to two ears. Delays are rounded to a sample: to 3.6 mm at 48 kHz.

    Parameters
    ----------
    gain : float
        Of the source at 1 m.
    distance_m : float
    reflected : Reflected
        What the venue has to give back.
    field : LateField
        What makes it.
    sample_rate_hz : float
    channels : int

    Attributes
    ----------
    arrives : int
        Samples until the direct sound.
    longest_s : float
        How long anything of a sound is heard after it was made.
    """

    def __init__(
        self,
        gain: float,
        distance_m: float,
        reflected: Reflected,
        field: LateField,
        sample_rate_hz: float,
        channels: int,
    ) -> None:
        arrives = round(travel_s(distance_m) * sample_rate_hz)
        returns = round((travel_s(distance_m) + reflected.after_s) * sample_rate_hz) - field.begins
        self._direct_gain = gain / distance_m
        self._field_gain = gain * math.sqrt(reflected.energy / field.energy)
        self._field = field
        self._arriving = DelayLine(channels, arrives)
        self._returning = DelayLine(channels, max(returns, 0))
        self._air = air_filter(distance_m, sample_rate_hz)
        self._air_state = np.zeros((channels, len(self._air), 2))
        self.arrives = arrives
        self.longest_s = max(arrives, returns) / sample_rate_hz + field.tail_s

    def add_to(self, n0: int, x: Audio, y: Audio) -> None:
        """Add to y (2, frames) what comes of x (channels, frames), which begins at frame n0."""
        direct = self._direct_gain * self._arriving.process(x)
        biquad_df2t(self._air, self._air_state, direct)
        y += direct
        y += self._field_gain * self._field.process(n0, self._returning.process(x))
