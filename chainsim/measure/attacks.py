"""Note beginnings and ends of a take, found from its level alone.

The level is the largest sample of each millisecond, held for 15 ms so that a low note's waves count as one level. A
note is a crest that rises at least 9 dB out of the dips beside it; where the take is quieter than its noise (or 40 dB
under its loud notes), it counts as flat. Slurred notes without such a dip are one note here: for a gate, they are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.measure.gaps import Gaps, measure_gaps
from chainsim.measure.signals import pieces
from chainsim.units import Array

HOP_MS = 1.0
HELD_HOPS = 15
RISE_DB = 9.0
UNDER_LOUD_DB = 40.0
OVER_NOISE_DB = 3.0
BEGINS_UNDER_PEAK_DB = 20.0
BEGINS_OVER_DIP_DB = 3.0


@dataclass(frozen=True)
class Note:
    """One note, or several that are slurred."""

    begin_s: float
    """Where the level comes within 20 dB of the note's peak or, where it does not fall so far, rises out of the dip."""
    end_s: float
    """Where it falls 40 dB under the note's peak, into the noise, or to the dip before the next note."""
    peak_dbfs: float


def find_notes(audio: npt.ArrayLike, sample_rate_hz: float, gaps: Gaps | None = None) -> tuple[Note, ...]:
    """Notes of a take, in order of time.

    Parameters
    ----------
    audio : ndarray, shape (frames, channels) or (frames,)
    sample_rate_hz : float
    gaps : Gaps, optional
        What `measure_gaps` says of the same take, where that is known.
    """
    known = measure_gaps(audio, sample_rate_hz) if gaps is None else gaps
    if not math.isfinite(known.loud_peak_dbfs):
        return ()
    hop = max(1, round(HOP_MS * sample_rate_hz / 1000.0))
    floor_db = known.loud_peak_dbfs - UNDER_LOUD_DB
    if math.isfinite(known.noise_peak_dbfs):
        floor_db = max(floor_db, known.noise_peak_dbfs + OVER_NOISE_DB)
    # One quiet cell before and after, so that a take may begin or end within a note.
    level_db = np.concatenate([[floor_db], np.maximum(_held_levels(audio, hop), floor_db), [floor_db]])
    turns = _turns(level_db)
    spans = zip(turns[:-2:2], turns[1::2], turns[2::2], strict=True)
    return tuple(_note(level_db, dip, crest, after, hop / sample_rate_hz) for dip, crest, after in spans)


def _turns(level_db: Array) -> list[int]:
    """Places of dip, crest, dip ... dip, each RISE_DB or more from the next; the ends count as dips."""
    turns: list[int] = []
    place, extreme, rising = 0, math.inf, False
    for i, level in enumerate(level_db.tolist()):
        if rising:
            if level > extreme:
                place, extreme = i, level
            elif level <= extreme - RISE_DB:
                turns.append(place)
                place, extreme, rising = i, level, False
        elif level <= extreme:
            place, extreme = i, level
        elif level >= extreme + RISE_DB:
            turns.append(place)
            place, extreme, rising = i, level, True
    return [*turns, place, level_db.size - 1] if rising else [*turns, place]


def _held_levels(audio: npt.ArrayLike, hop: int) -> Array:
    """Peak level (dBFS) of each hop and the 14 before it, of the loudest channel."""
    peaks = [np.zeros(HELD_HOPS - 1)]
    for piece in pieces(audio, frames=hop * 4096):
        loudest = np.max(np.abs(piece), axis=0)
        whole = np.zeros(-(-loudest.size // hop) * hop)
        whole[: loudest.size] = loudest
        peaks.append(whole.reshape(-1, hop).max(axis=1))
    held = np.lib.stride_tricks.sliding_window_view(np.concatenate(peaks), HELD_HOPS).max(axis=1)
    level_db: Array = 20.0 * np.log10(np.maximum(held, 1e-15))
    return level_db


def _note(level_db: Array, dip: int, crest: int, after: int, hop_s: float) -> Note:
    peak_db = float(level_db[crest])
    begins_over = max(peak_db - BEGINS_UNDER_PEAK_DB, float(level_db[dip]) + BEGINS_OVER_DIP_DB)
    begin = dip + int(np.argmax(level_db[dip : crest + 1] >= begins_over))
    quiet = np.flatnonzero(level_db[crest:after] <= max(peak_db - UNDER_LOUD_DB, float(level_db.min())))
    end = crest + int(quiet[0]) if quiet.size else after
    # Cell 0 is the quiet one in front.
    return Note((begin - 1) * hop_s, (end - 1) * hop_s, peak_db)
