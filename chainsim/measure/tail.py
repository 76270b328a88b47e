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
ECHOES_ALONE = 0.9
"""Share of the energy after the direct sound from which on echoes leave nothing to measure beside them."""


@dataclass(frozen=True)
class Tail:
    """Energy of all channels together.

    Attributes
    ----------
    level_db : float
        Energy after the direct sound relative to all of it; minus infinity if nothing follows.
    edt_s, t20_s, t30_s : float
        Of what follows the direct sound; NaN where that does not fall far enough, is more than 60 dB down, or is
        nothing but echoes, whose staircase is no slope.
    echoes : Echoes or None
    """

    level_db: float
    edt_s: float = math.nan
    t20_s: float = math.nan
    t30_s: float = math.nan
    echoes: Echoes | None = None

    @property
    def decay_s(self) -> float:
        """Time to fall by 60 dB: T30 or else T20, or what even echoes come to if that is longer; else NaN."""
        room_s = self.t30_s if math.isfinite(self.t30_s) else self.t20_s
        if self.echoes is None or not self.echoes.fall_db > 0.0:
            return room_s
        echoes_s = 0.06 * self.echoes.spacing_ms / self.echoes.fall_db
        return echoes_s if math.isnan(room_s) else max(room_s, echoes_s)


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
    if echoes is not None and echoes.share > ECHOES_ALONE:
        return Tail(level_db, echoes=echoes)
    decay = measure_decay(np.sqrt(power), sample_rate_hz, begin)
    return Tail(level_db, decay.edt_s, decay.t20_s, decay.t30_s, echoes)
