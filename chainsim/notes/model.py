"""Notes of one horn, with what moves while they sound: pitch and level."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from chainsim.units import Array


@dataclass(frozen=True)
class Note:
    """One note; times in seconds from the start of the take.

    Attributes
    ----------
    begin_s, end_s : float
    midi : int
        0 ... 127.
    velocity : int
        1 ... 127.
    """

    begin_s: float
    end_s: float
    midi: int
    velocity: int


def empty_curve() -> Array:
    """No points: shape (0, 2)."""
    return np.zeros((0, 2))


@dataclass(frozen=True)
class NoteEvents:
    """What a MIDI part of one voice holds.

    Attributes
    ----------
    notes : tuple of Note
        In order of time, none overlapping another.
    pitch : ndarray, shape (points, 2)
        Time in seconds, and the pitch that holds from then on, in semitones on the scale of MIDI notes (69 is A4).
    breath : ndarray, shape (points, 2)
        Time in seconds, and the level that holds from then on, as whole numbers 0 ... 127.
    """

    notes: tuple[Note, ...] = ()
    pitch: Array = field(default_factory=empty_curve)
    breath: Array = field(default_factory=empty_curve)

    def until(self, end_s: float) -> NoteEvents:
        """The same up to a time: later notes are left out, one that sounds then ends there."""
        notes = tuple(replace(n, end_s=min(n.end_s, end_s)) for n in self.notes if n.begin_s < end_s)
        return NoteEvents(notes, self.pitch[self.pitch[:, 0] < end_s], self.breath[self.breath[:, 0] < end_s])
