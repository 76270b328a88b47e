"""Pre-echo: what a voice sounds of a note before the take does.

It is told of notes that follow a rest, in which the take's peaks stay 30 dB under the note's for at least 100 ms: what
a voice still rings of the note before has 60 ms to die away in. Two moments say when the take begins:

* it rises, where its peaks leave, for good, those of the quietest 40 ms of the rest by more than 6 dB, and are within
  60 dB of the note's;
* it speaks, where they come within 30 dB of the note's. In between there may be the player's breath, or a slow attack.

Both are looked for in the take itself: a tracker is sure of a low or soft note only tens of milliseconds later.

With P_y, P_x, P_(y - x) the powers of voice, take and difference, means over 35 ms, a voice adds

    from 40 to 5 ms before the take rises     P_(y - x) if that is less than P_y, else max(P_y - P_x, 0)        (1)
    since then, to 5 ms before it speaks      max(P_y - 4 P_x, 0), in no more than the last 35 ms               (2)

The difference is exact where the take's room and breath pass as they are. A voice that makes noise of its own out of
them differs by more than it sounds, but adds nothing while it is no louder. In an attack it may be a little ahead of
the take, by a swell of 6 dB. The larger of (1) and (2) is the pre-echo.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.measure.harmony_peaks import held_peaks, power, power_db, runs
from chainsim.measure.steady_notes import SteadyNote
from chainsim.units import Array

WINDOW_S = (0.04, 0.005)
"""From how long before the take begins to how long before, voices are listened to."""
REST_S, REST_DB = 0.1, -30.0
REACH_S = (0.25, 0.05)
"""How far before and after what the tracker says a note begins, its rest is looked for."""
RISE_DB, FAINTEST_DB = 6.0, -60.0
AHEAD_POWER = 4.0


def take_begins(note: SteadyNote, earliest_s: float, peaks: Array, cell_s: float) -> tuple[int, int] | None:
    """Cells in which the take rises from its rest, and speaks; None if the note follows no rest.

    Parameters
    ----------
    note : SteadyNote
    earliest_s : float
        Where the note before it begins.
    peaks : ndarray, shape (cells,)
        The take's.
    cell_s : float
    """
    begin, end, earliest = (round(t / cell_s) for t in (note.begin_s, note.end_s, earliest_s))
    loud = float(np.median(peaks[begin:end])) if end > begin else 0.0
    first = max(begin - round(REACH_S[0] / cell_s), earliest, 0)
    reach = peaks[first : begin + round(REACH_S[1] / cell_s)]
    rest_begins, rest_ends = runs(reach < 10.0 ** (REST_DB / 20.0) * loud)
    rests = np.flatnonzero((rest_ends - rest_begins >= round(REST_S / cell_s)) & (rest_ends < reach.size))
    if not rests.size:
        return None
    rest_begin, speaks = int(rest_begins[rests[-1]]), int(rest_ends[rests[-1]])
    listened = round(WINDOW_S[0] / cell_s)
    held = held_peaks(reach[rest_begin:speaks], listened)
    floor = max(10.0 ** (RISE_DB / 20.0) * float(held.min()), 10.0 ** (FAINTEST_DB / 20.0) * loud)
    rises = rest_begin + int(np.flatnonzero(held <= floor)[-1]) + listened
    return first + rises, first + speaks


def pre_echo_db(take: Array, voice: Array, rises: int, speaks: int, stop: int, sample_rate_hz: float) -> float:
    """The larger of (1) and (2), relative to the voice's power in the note.

    Parameters
    ----------
    take, voice : ndarray, shape (frames,)
        The voice's latency taken out.
    rises, speaks, stop : int
        Samples at which the take rises and speaks, and at which the note ends.
    sample_rate_hz : float

    Returns
    -------
    float
        Minus infinity if it adds nothing, NaN if it is silent in the note.
    """
    sounding = power(voice[speaks:stop])
    if sounding == 0.0:
        return math.nan
    early, late = (round(s * sample_rate_hz) for s in WINDOW_S)
    rest = slice(max(rises - early, 0), max(rises - late, 0))
    attack = slice(max(rises, speaks - early), max(rises, speaks - late))
    share = (attack.stop - attack.start) / (early - late)
    added = max(_added_at_rest(take[rest], voice[rest]), share * _added_in_attack(take[attack], voice[attack]))
    return power_db(added / sounding)


def _added_at_rest(x: Array, y: Array) -> float:
    """Equation (1)."""
    difference, sounding = power(y - x), power(y)
    return difference if difference < sounding else max(sounding - power(x), 0.0)


def _added_in_attack(x: Array, y: Array) -> float:
    """Equation (2), as a mean over what there is of it."""
    return max(power(y) - AHEAD_POWER * power(x), 0.0)
