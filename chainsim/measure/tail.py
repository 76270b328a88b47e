"""What goes on after the direct sound of a click: how much of it, how fast it decays, and its echoes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from chainsim.measure.arrival import find_click
from chainsim.measure.decay import (
    EDT_RANGE_DB,
    T20_RANGE_DB,
    T30_RANGE_DB,
    energy_decay,
    measure_band_decays,
    measure_decay,
)
from chainsim.measure.echoes import Echoes, find_echoes
from chainsim.units import Array, Audio

DIRECT_S = 0.0025
"""So long the direct sound lasts: an equalizer's ringing, but no room's first reflection."""
FAINTEST_DB = -60.0
MOST_BENT = 0.010
"""1 - r^2 of the straight line through a curve; more is far from straight."""
T30_UNDER_T20 = 0.95
LATE_S = 0.1
"""Later than any room's first reflections."""
FALLEN_DB = -30.0
RINGING_S = 0.05
MIDDLE_HZ = (500.0, 1000.0)
"""Of which ISO 3382-1 takes the mean for a single figure."""

NoDecay = Literal["echoes", "ringing", "late", "bent"]
"""Why there is no decay time."""


@dataclass(frozen=True)
class Tail:
    """Energy of all channels together.

    Attributes
    ----------
    level_db : float
        Energy after the direct sound relative to all of it; minus infinity if nothing follows.
    fallen_s : float
        After the direct sound, when no more than a thousandth of that energy is left.
    edt_s, t20_s, t30_s : float
        Of what follows the direct sound; NaN where that does not fall far enough, is more than 60 dB down, or is no
        straight decay.
    mid_s : float
        T30, or else T20, in the octaves of 500 Hz and 1 kHz, their mean: what a reverb's decay is named by. The times
        above are of all frequencies together, of which the highest die first.
    echoes : Echoes or None
    no_decay : str or None
        Why decay times are missing: echoes make a staircase; it is over as fast as a filter's ringing; most of it comes
        late, not at once; or it falls in no straight line.
    """

    level_db: float
    fallen_s: float = math.nan
    edt_s: float = math.nan
    t20_s: float = math.nan
    t30_s: float = math.nan
    mid_s: float = math.nan
    echoes: Echoes | None = None
    no_decay: NoDecay | None = None

    @property
    def decay_s(self) -> float:
        """Time to fall by 60 dB: in the middle octaves or else as a whole, or what even echoes come to; else NaN."""
        if math.isfinite(self.mid_s):
            return self.mid_s
        if self.echoes is None or not self.echoes.fall_db > 0.0:
            return self.t30_s if math.isfinite(self.t30_s) else self.t20_s
        return 0.06 * self.echoes.spacing_ms / self.echoes.fall_db


def measure_tail(response: Audio, sample_rate_hz: float) -> Tail | None:
    """Read a response to a click, shape (channels, frames); None if it is silent."""
    onset = find_click(response)
    if onset is None:
        return None
    power = np.sum(response**2, axis=0)
    begin = onset + round(DIRECT_S * sample_rate_hz)
    after = float(np.sum(power[begin:]))
    level_db = 10.0 * math.log10(after / float(np.sum(power))) if after > 0.0 else -math.inf
    if level_db < FAINTEST_DB:
        return Tail(level_db)
    echoes = find_echoes(power[onset:], sample_rate_hz)
    amplitude = np.sqrt(power)
    curve_db = energy_decay(amplitude, sample_rate_hz, begin).level_db
    fallen_s = float(np.sum(curve_db > FALLEN_DB)) / sample_rate_hz
    if echoes is not None:
        return Tail(level_db, fallen_s, echoes=echoes, no_decay="echoes")
    if fallen_s < RINGING_S:
        return Tail(level_db, fallen_s, no_decay="ringing")
    decay = measure_decay(amplitude, sample_rate_hz, begin)
    # A plateau of p seconds before a decay of T adds about 6 p to the EDT: ten of sixty decibels.
    if (decay.edt_s - decay.t20_s) / 6.0 > LATE_S:
        return Tail(level_db, fallen_s, no_decay="late")
    edt_s, t20_s, t30_s = (
        time_s if math.isfinite(time_s) and _bend(curve_db, *fit) <= MOST_BENT else math.nan
        for time_s, fit in ((decay.edt_s, EDT_RANGE_DB), (decay.t20_s, T20_RANGE_DB), (decay.t30_s, T30_RANGE_DB))
    )
    # Sums of exponential decays bend one way: the later, the slower.
    if math.isfinite(decay.t20_s) and (
        decay.t30_s < T30_UNDER_T20 * decay.t20_s or (math.isnan(t20_s) and math.isnan(t30_s))
    ):
        return Tail(level_db, fallen_s, no_decay="bent")
    return Tail(level_db, fallen_s, edt_s, t20_s, t30_s, _mid_s(response[:, begin:], sample_rate_hz))


def _mid_s(response: Audio, sample_rate_hz: float) -> float:
    """Decay time in the middle octaves, of the channel with most in it; NaN if one of them does not fall far enough."""
    loudest = response[int(np.argmax(np.sum(response**2, axis=1)))]
    decays = measure_band_decays(loudest, sample_rate_hz, MIDDLE_HZ).values()
    times = [decay.t30_s if math.isfinite(decay.t30_s) else decay.t20_s for decay in decays]
    return float(np.mean(times)) if times else math.nan


def _bend(level_db: Array, high_db: float, low_db: float) -> float:
    """1 - r^2 of the straight line from high_db to low_db: degree of nonlinearity, ISO 3382-2, annex B, from memory."""
    part = level_db[int(np.argmax(level_db <= high_db)) : int(np.argmax(level_db < low_db))]
    if part.size < 3:
        return 1.0
    return 1.0 - float(np.corrcoef(np.arange(part.size), part)[0, 1]) ** 2
