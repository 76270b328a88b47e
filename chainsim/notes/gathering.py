"""From the rows of the note finder to lists of notes: as a live converter would send them, and as they were played.

Live, each event stands where it could be known. As played, a note begins at its attack and ends where its sound did;
what is known by then sets right what had to be sent too early: a scoop belongs to the note that it leads to, and so
does an attack that spoke an octave too low at first; a blip is no note.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chainsim.dsp import note_rows as rows_of
from chainsim.dsp.midi_levels import seven_bit_of_level
from chainsim.dsp.note_events import ONSET_REACH_S, NoteFinder, NoteRules
from chainsim.dsp.pitch_rows import ONSET_AGE_S
from chainsim.notes.model import Note, NoteEvents, empty_curve
from chainsim.units import Array

BLIP_S = 0.03
"""What is shorter, and neither leads nor belongs to another note, is not a note."""

DOUBLED_S = 0.16
"""Reeds may speak at twice the period for as long: an attack an octave too low that turns into its upper octave."""

SCOOP_S = 0.2
SLIDE_SHARE = 0.6
"""A note of less than `SCOOP_S` from which so much of the way to the next is slid, not stepped, is a scoop into it."""
SLIDE_STEP_S, SLIDE_ST = 0.005, 0.12
"""What moves faster than so much within so long is a step: 24 semitones a second."""
LEAST_SLIDE_ST = 0.5

LEAP_ST, STRAY_ST = 1.0, 3.0
"""Before a leap between two messages to a note so far away, the pitch was a wrong one; what slides there is played."""

JOINED_S = 0.005
"""Notes nearer than this follow without a rest."""


@dataclass(frozen=True)
class _Sounded:
    """One note of the finder, as played and as known; with a beginning joined to it, its own pitch comes later."""

    began_s: float
    known_s: float
    own_s: float
    ended_s: float
    end_known_s: float
    midi: int
    attack_db: float
    first_db: float
    slurred: bool
    settled: bool


class NoteGatherer:
    """Takes pitch rows span by span and keeps the notes in them; its memory grows with the notes only.

    Parameters
    ----------
    rules : NoteRules
    sample_rate_hz : float
    """

    def __init__(self, rules: NoteRules, sample_rate_hz: float) -> None:
        self._finder = NoteFinder(rules, sample_rate_hz)
        self._rate_hz = float(sample_rate_hz)
        self._frames = 0
        self._last = np.full(rows_of.ROWS, -1.0)
        self._open: tuple[float, float, int, float, bool] | None = None
        self._sounded: list[_Sounded] = []
        self._curves: dict[int, list[Array]] = {rows_of.PITCH: [], rows_of.BREATH: []}

    def add(self, rows: Array) -> None:
        """Take the pitch rows, shape (5, frames), that follow those before."""
        y = np.empty((rows_of.ROWS, rows.shape[1]))
        self._finder.process(rows, y)
        begun = y[rows_of.ON_AGE_S] > 0.0
        for row, points in self._curves.items():
            at = np.flatnonzero((np.diff(y[row], prepend=self._last[row]) != 0.0) | begun)
            points.append(np.stack([(self._frames + at) / self._rate_hz, y[row, at]], axis=1))
        told = begun | (y[rows_of.OFF_AGE_S] > 0.0) | (rows[ONSET_AGE_S] > 0.0)
        for i in np.flatnonzero(told).tolist():
            now_s = (self._frames + i) / self._rate_hz
            if y[rows_of.OFF_AGE_S, i] > 0.0:
                self._end(y[:, i - 1] if i > 0 else self._last, now_s, float(y[rows_of.OFF_AGE_S, i]))
            if begun[i]:
                self._begin(y[:, i], now_s)
            elif self._open is not None and rows[ONSET_AGE_S, i] > 0.0:
                self._begin_earlier(now_s - float(rows[ONSET_AGE_S, i]))
        self._last = y[:, -1].copy() if y.shape[1] else self._last
        self._frames += rows.shape[1]

    def _begin(self, row: Array, known_s: float) -> None:
        slurred, midi = bool(row[rows_of.SLURRED]), int(row[rows_of.NOTE])
        self._open = known_s - float(row[rows_of.ON_AGE_S]), known_s, midi, float(row[rows_of.ATTACK_DB]), slurred

    def _begin_earlier(self, onset_s: float) -> None:
        """Set the sounding note's begin right where its attack becomes known only after its pitch."""
        assert self._open is not None
        began_s, known_s, midi, attack_db, slurred = self._open
        after_s = self._sounded[-1].ended_s if self._sounded else 0.0
        if began_s - ONSET_REACH_S <= onset_s < began_s:
            self._open = max(onset_s, after_s), known_s, midi, attack_db, slurred

    def _end(self, before: Array, known_s: float, age_s: float) -> None:
        """Close the sounding note; `before` are the rows of the sample before."""
        assert self._open is not None
        began_s, on_s, midi, first_db, slurred = self._open
        attack_db, settled = float(before[rows_of.ATTACK_DB]), bool(before[rows_of.SETTLED])
        self._sounded.append(
            _Sounded(began_s, on_s, on_s, known_s - age_s, known_s, midi, attack_db, first_db, slurred, settled)
        )
        self._open = None

    def _all(self) -> list[_Sounded]:
        """Every note; one that still sounds ends with what was heard."""
        if self._open is None:
            return self._sounded
        began_s, known_s, midi, first_db, slurred = self._open
        end_s = self._frames / self._rate_hz
        attack_db, settled = float(self._last[rows_of.ATTACK_DB]), bool(self._last[rows_of.SETTLED])
        last = _Sounded(began_s, known_s, known_s, end_s, end_s, midi, attack_db, first_db, slurred, settled)
        return [*self._sounded, last]

    def as_sent(self) -> NoteEvents:
        """Each event at the time at which it could be known."""
        notes = [Note(s.known_s, s.end_known_s, s.midi, _velocity(s.first_db)) for s in self._all()]
        return NoteEvents(tuple(notes), self._curve(rows_of.PITCH), self._curve(rows_of.BREATH))

    def as_played(self) -> NoteEvents:
        """Notes from their attack to the end of their sound."""
        pitch, breath = (self._curve(row) for row in (rows_of.PITCH, rows_of.BREATH))
        sounded = _with_beginnings(self._all(), pitch)
        kept = [_renamed(s, pitch) for s in sounded if s.ended_s - s.began_s >= BLIP_S]
        notes = [Note(s.began_s, s.ended_s, s.midi, _velocity(s.attack_db)) for s in kept]
        return NoteEvents(
            tuple(notes), _moved_to_begin(_without_strays(pitch, kept), kept), _moved_to_begin(breath, kept)
        )

    def median_age_s(self) -> float:
        """Median time from a note's begin until it is known; NaN without notes."""
        ages = [s.known_s - s.began_s for s in self._all()]
        return float(np.median(ages)) if ages else math.nan

    def _curve(self, row: int) -> Array:
        return np.concatenate([empty_curve(), *self._curves[row]])


def _velocity(level_db: float) -> int:
    return max(1, int(seven_bit_of_level.function(level_db)))


def _with_beginnings(sounded: Sequence[_Sounded], pitch: Array) -> list[_Sounded]:
    """Join each note that is only the beginning of the next with that one."""
    joined: list[_Sounded] = []
    for note in sounded:
        before = joined[-1] if joined else None
        if before is not None and _leads_into(before, note, pitch):
            joined[-1] = replace(
                note,
                began_s=before.began_s,
                known_s=before.known_s,
                slurred=before.slurred,
                attack_db=max(before.attack_db, note.attack_db),
            )
        else:
            joined.append(note)
    return joined


def _leads_into(before: _Sounded, note: _Sounded, pitch: Array) -> bool:
    if not note.slurred or note.began_s - before.ended_s >= JOINED_S:
        return False
    length_s = before.ended_s - before.began_s
    doubled = note.midi - before.midi == 12 and length_s < DOUBLED_S and not before.slurred
    slid = length_s < SCOOP_S and _slid_share(before, note, pitch) > SLIDE_SHARE
    return doubled or slid or not before.settled


def _slid_share(before: _Sounded, note: _Sounded, pitch: Array) -> float:
    """How much of the way from where one note was known to where the next was is slid, and not stepped."""
    times = np.arange(before.known_s, note.known_s + SLIDE_STEP_S, SLIDE_STEP_S)
    heights = pitch[np.searchsorted(pitch[:, 0], times + 1e-9, "right") - 1, 1]
    moves = np.diff(heights) * math.copysign(1.0, note.midi - before.midi)
    slides = moves[np.abs(moves) <= SLIDE_ST]
    return float(slides.sum() / max(moves.sum(), LEAST_SLIDE_ST))


def _renamed(note: _Sounded, pitch: Array) -> _Sounded:
    """Name a note for the pitch that it had most of its time, if that is the next semitone and not a glide's end."""
    first, last = np.searchsorted(pitch[:, 0], (note.known_s - 1e-9, note.ended_s))
    if last <= first:
        return note
    lasting = np.diff(np.append(pitch[first:last, 0], max(note.ended_s, pitch[last - 1, 0])))
    order = np.argsort(pitch[first:last, 1])
    middle = int(np.searchsorted(np.cumsum(lasting[order]), 0.5 * lasting.sum()))
    midi = math.floor(pitch[first:last, 1][order][min(middle, last - first - 1)] + 0.5)
    return replace(note, midi=midi) if abs(midi - note.midi) == 1 and 0 <= midi <= 127 else note


def _without_strays(pitch: Array, sounded: Sequence[_Sounded]) -> Array:
    """Drop what lies far from its note in a beginning that was joined to it, and leaps there."""
    kept = np.ones(pitch.shape[0], np.bool_)
    for note in sounded:
        first, own = np.searchsorted(pitch[:, 0], (note.known_s - 1e-9, note.own_s - 1e-9))
        leaps = np.flatnonzero(np.abs(np.diff(pitch[first : own + 1, 1])) > LEAP_ST)
        if leaps.size:
            part = slice(first, first + int(leaps[-1]) + 1)
            kept[part] = np.abs(pitch[part, 1] - note.midi) <= STRAY_ST
    return pitch[kept]


def _moved_to_begin(curve: Array, sounded: Sequence[_Sounded]) -> Array:
    """Let what was known first of each note hold from its begin on, and drop what lies outside the notes."""
    parts = [empty_curve()]
    for note, next_s in zip(sounded, [*(s.began_s for s in sounded[1:]), math.inf], strict=False):
        first, last = np.searchsorted(curve[:, 0], (note.known_s - 1e-9, min(note.ended_s, next_s) - 1e-9))
        if first == curve.shape[0]:
            continue
        part = curve[first : max(last, first + 1)].copy()
        part[0, 0] = note.began_s
        parts.append(part)
    return np.concatenate(parts)
