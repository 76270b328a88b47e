"""When the notes of a phrase are played, in seconds, and which of them are joined by slurs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chainsim.horn.phrase import Note, Phrase

_TIMING_S, _TIMING_MOST_S = 0.004, 0.01


@dataclass(frozen=True)
class TimedNote:
    """A note with its pitch, a MIDI number, and its place in time."""

    note: Note
    pitch: float
    onset_s: float
    end_s: float


def gestures_of(
    phrase: Phrase, lead_s: float, unsteadiness: float, random: np.random.Generator
) -> list[list[TimedNote]]:
    """Notes in seconds, joined where slurred; a player is some milliseconds early or late."""
    beat_s = 60.0 / phrase.tempo_bpm
    most_s = min(_TIMING_MOST_S, 0.2 * beat_s * min(note.beats for note in phrase.notes))
    late_s = np.clip(unsteadiness * _TIMING_S * random.standard_normal(len(phrase.notes) + 1), -most_s, most_s)
    starts_s = np.cumsum([0.0, *(note.beats * beat_s for note in phrase.notes)]) + lead_s
    late_s[0] = late_s[-1] = 0.0
    starts_s += late_s
    gestures: list[list[TimedNote]] = []
    joined = False
    for i, note in enumerate(phrase.notes):
        following = phrase.notes[i + 1] if i + 1 < len(phrase.notes) else None
        t, until = float(starts_s[i]), float(starts_s[i + 1])
        if note.pitch is not None:
            slurs_on = following is not None and following.slurred and following.pitch is not None
            end_s = until if slurs_on else t + (until - t) * note.how.length
            timed = TimedNote(note, note.pitch, t, end_s)
            if note.slurred and joined:
                gestures[-1].append(timed)
            else:
                gestures.append([timed])
        joined = note.pitch is not None
    return gestures
