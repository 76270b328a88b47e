"""How well a player was in tune: readings as a tuner shows them, and the mean offset of each note.

Only the steady part of a note counts: what comes soon after its attack and just before its end is left out, and so are
estimates that are unsure or far from the note's median. Cents are against the nearest note of that median in equal
temperament on `a4_hz`, so that vibrato does not change the name.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.music.pitch import HIGHEST, LOWEST
from chainsim.notes.model import Note
from chainsim.units import Array

AFTER_ATTACK_S = 0.06
BEFORE_END_S = 0.02
LEAST_S = 0.08
"""Shortest steady part that says something of intonation."""
READING_S = 0.2
"""About one swing of vibrato, so that it does not show as mistuning."""
FAR_CENTS = 60.0
"""Wider than half a semitone of vibrato."""


@dataclass(frozen=True)
class Reading:
    """What a tuner shows at one moment: the median of a fifth of a second."""

    time_s: float
    midi: int
    cents: float


@dataclass(frozen=True)
class NoteTuning:
    """How one note was tuned over the whole take."""

    midi: int
    mean_cents: float
    spread_cents: float
    """Standard deviation over all its steady moments, vibrato included."""
    total_s: float
    times: int
    """How often it was played long enough to tell."""


@dataclass(frozen=True)
class Tuning:
    """A player's intonation against one A4."""

    a4_hz: float
    readings: tuple[Reading, ...]
    """In order of time."""
    notes: tuple[NoteTuning, ...]
    """From low to high."""

    @property
    def median_cents(self) -> float:
        """Median of the readings; NaN if there are none."""
        return float(np.median([r.cents for r in self.readings])) if self.readings else math.nan


def measure_tuning(
    notes: Sequence[Note],
    time_s: Array,
    f0_hz: Array,
    sure: npt.NDArray[np.bool_],
    a4_hz: float = 440.0,
) -> Tuning:
    """Read the tuning of notes from a pitch track.

    Parameters
    ----------
    notes : sequence of Note
        Where notes sound; their names are found anew from the track.
    time_s, f0_hz : ndarray, shape (estimates,)
        When each estimate was known, and what it says; evenly spaced.
    sure : ndarray of bool, shape (estimates,)
        Which estimates may count.
    a4_hz : float

    Returns
    -------
    Tuning
    """
    hop_s = float(time_s[1] - time_s[0]) if time_s.size > 1 else 0.0
    readings: list[Reading] = []
    steady: dict[int, list[Array]] = {}
    for note in notes:
        first, last = np.searchsorted(time_s, (note.begin_s + AFTER_ATTACK_S, note.end_s - BEFORE_END_S))
        kept = sure[first:last] & (f0_hz[first:last] > 0.0)
        if kept.sum() * hop_s < LEAST_S:
            continue
        times = time_s[first:last][kept]
        pitch = 69.0 + 12.0 * np.log2(f0_hz[first:last][kept] / a4_hz)
        middle = float(np.median(pitch))
        near = np.abs(pitch - middle) <= FAR_CENTS / 100.0
        midi = math.floor(middle + 0.5)
        if near.sum() * hop_s < LEAST_S or not LOWEST <= midi <= HIGHEST:
            continue
        cents = 100.0 * (pitch[near] - midi)
        steady.setdefault(midi, []).append(cents)
        readings += _readings(times[near], cents, midi, hop_s)
    table = tuple(_note_tuning(midi, parts, hop_s) for midi, parts in sorted(steady.items()))
    return Tuning(a4_hz, tuple(readings), table)


def _readings(time_s: Array, cents: Array, midi: int, hop_s: float) -> list[Reading]:
    """One reading for each fifth of a second ; what is left over at the end joins the last."""
    slots = ((time_s - time_s[0]) / READING_S + 1e-6).astype(int)
    slots = np.minimum(slots, max(int((time_s[-1] - time_s[0] + hop_s) / READING_S + 1e-6) - 1, 0))
    found = []
    for slot in np.unique(slots):
        inside = slots == slot
        found.append(Reading(float(time_s[inside][-1]), midi, float(np.median(cents[inside]))))
    return found


def _note_tuning(midi: int, parts: Sequence[Array], hop_s: float) -> NoteTuning:
    cents = np.concatenate(parts)
    return NoteTuning(midi, float(cents.mean()), float(cents.std()), cents.size * hop_s, len(parts))
