"""What goes on after the direct sound of a click: how much of it, how fast it decays, and its echoes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.measure.arrival import find_click
from chainsim.measure.decay import measure_decay
from chainsim.measure.echoes import Echoes, find_echoes
from chainsim.units import Audio

DIRECT_S = 0.0025
"""So long the direct sound lasts: an equalizer's ringing, but no room's first reflection."""
FAINTEST_DB = -60.0


@dataclass(frozen=True)
class Tail:
    """Energy of all channels together.

    Attributes
    ----------
    level_db : float
        Energy after the direct sound relative to all of it; minus infinity if nothing follows.
    edt_s, t20_s, t30_s : float
        Of what follows the direct sound; NaN where that does not fall far enough, or is more than 60 dB down.
    echoes : Echoes or None
    """

    level_db: float
    edt_s: float = math.nan
    t20_s: float = math.nan
    t30_s: float = math.nan
    echoes: Echoes | None = None

    @property
    def decay_s(self) -> float:
        """Time to fall by 60 dB: T30, or T20, or what even echoes come to; NaN if none of them is known."""
        times = [self.t30_s, self.t20_s]
        if self.echoes is not None and self.echoes.fall_db > 0.0:
            times.append(0.06 * self.echoes.spacing_ms / self.echoes.fall_db)
        return next((t for t in times if math.isfinite(t)), math.nan)


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
    decay = measure_decay(np.sqrt(power), sample_rate_hz, begin)
    echoes = find_echoes(power[onset:], sample_rate_hz)
    return Tail(level_db, decay.edt_s, decay.t20_s, decay.t30_s, echoes)
