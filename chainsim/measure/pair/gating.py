"""The threshold at which a box opens, from the levels of the dry sound at which it did.

A frame is shut if its gain lies surely under half of the loud notes' gain, open if surely over it. Where one follows
the other the box opened, and `openings` finds when it began to. The level of the dry sound is the same each time,
but for what the box's own detector makes of it. No level at which it stayed shut can lie over the threshold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.measure.pair.figure import Figure
from chainsim.measure.pair.gain_track import HOP_S, GainTrack
from chainsim.measure.pair.openings import find_openings
from chainsim.units import Array, gain_to_db

HALF = 0.5
SURE = 2.0
TOLD = 0.25
LEAST_SHUT = 8
LEAST_LEVEL_STEP_DB = 6.0
MOST_UNSURE_S = 0.05
DETECTOR_DB = 2.3
ONE_OPENING_DB = 4.0


@dataclass(frozen=True)
class PairGating:
    """What was found of a gate; all missing where it was never seen shut.

    Attributes
    ----------
    threshold_db : Figure
        Peak level (dBFS, of 15 ms) of the dry sound at which it opens.
    floor_db : Figure
        Gain of the closed gate, relative to the open one.
    attack_ms : float
        Time to 1 - 1/e of the opening, to a factor of two; NaN where not found.
    openings : int
    """

    threshold_db: Figure
    floor_db: Figure
    attack_ms: float
    openings: int


def measure_pair_gating(dry: Array, wet: Array, sample_rate_hz: float, track: GainTrack) -> PairGating:
    """Threshold and floor of a gate.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
        Aligned, of equal length.
    sample_rate_hz : float
    track : GainTrack
        Of the two.
    """
    shut = (track.deviation < TOLD) & (track.gain + SURE * track.deviation < HALF)
    open_ = track.gain - SURE * track.deviation > HALF
    never = PairGating(Figure.missing(), Figure.missing(), math.nan, 0)
    if np.sum(shut) < LEAST_SHUT or not open_.any():
        return never
    loud, soft = float(np.median(track.level_db[open_])), float(np.median(track.level_db[shut]))
    opening = _openings(shut, open_)
    if loud - soft < LEAST_LEVEL_STEP_DB or not opening.size:
        return never
    floor = _floor(track, shut)
    found = find_openings(
        dry, wet / track.loud_gain, sample_rate_hz, [float(t) for t in track.times_s[opening]], max(floor.value, 0.0)
    )
    if found is None:
        return never
    threshold = _middle(found.levels_db)
    floor_db = Figure(*(gain_to_db(max(g, 0.0)) for g in (floor.value, floor.low, floor.high)))
    return PairGating(threshold, floor_db, 1000.0 * found.attack_s, int(opening.size))


def _openings(shut: npt.NDArray[np.bool_], open_: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """First open frames after shut ones; frames of no sure state are passed over if they are few."""
    sure = np.flatnonzero(shut | open_)
    opens = np.flatnonzero(shut[sure[:-1]] & open_[sure[1:]] & (np.diff(sure) <= round(MOST_UNSURE_S / HOP_S)))
    found: npt.NDArray[np.int64] = sure[opens + 1]
    return found


def _middle(levels_db: Array) -> Figure:
    """Median; its deviation from how far the levels lie apart, and 2.3 dB for detectors and noise about the opening."""
    middle = float(np.median(levels_db))
    spread = 1.4826 * float(np.median(np.abs(levels_db - middle))) if levels_db.size > 2 else ONE_OPENING_DB
    return Figure.around(middle, math.hypot(1.2533 * spread / math.sqrt(levels_db.size), DETECTOR_DB))


def _floor(track: GainTrack, shut: npt.NDArray[np.bool_]) -> Figure:
    deviation = 1.2533 * float(np.median(track.deviation[shut])) / math.sqrt(float(np.sum(shut)))  # of a median
    return Figure.around(float(np.median(track.gain[shut])), deviation)
