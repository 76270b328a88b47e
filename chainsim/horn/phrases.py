"""Invented tunes of an invented town: what the theatre band of Saltmere plays, and a study of every articulation."""

from __future__ import annotations

from dataclasses import replace

from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import ARTICULATIONS, Note, Phrase

LOW_WATER = Phrase(
    "Low water",
    66.0,
    notes_of(
        """
        C4 1/2 0.45 tenuto, ~D4 1/2 >0.6, F4 3/2 0.6 scoop, ~E4 1/4, ~D4 1/4, Bb3 3/2 0.55 >0.35, - 1/2,
        A3 1/3 0.5 tenuto, ~Bb3 1/3, ~D4 1/3, ~G4 1 0.65 >0.8, ~F4 1/2 0.75, ~D4 1/2 0.6, C4 2 0.45 breathed >0.2
        """
    ),
    "tenor sax",
)
"""A ballad: long notes, scoops, a rest."""

LANTERN_WALTZ = Phrase(
    "Lantern waltz",
    138.0,
    notes_of(
        """
        E4 2 0.6 >0.7, ~F#4 1/2 0.65, ~G4 1/2, B4 5/2 0.7 >0.85, - 1/2,
        A4 1 0.7 accent, ~G4 1/2 0.6, ~F#4 1/2, E4 1 tenuto, F#4 2 0.6 scoop, - 1,
        D#4 1/2 0.55 staccato, F#4 1/2 staccato, A4 1/2 0.7, ~C5 1/2, ~B4 1/2, ~A4 1/2,
        G4 1/2 0.65, ~E4 1/2, ~F#4 1/2, ~D#4 1/2, E4 3 0.6 tenuto >0.3
        """
    ),
    "alto sax",
)
"""A waltz in E minor: slurs in twos and threes, staccato, rests."""

ROPEWALK = Phrase(
    "Ropewalk",
    126.0,
    notes_of(
        """
        Bb4 1/4 0.7, Bb4 1/4, Bb4 1/4, Bb4 1/4, D5 1/2 accent, Bb4 1/2 staccato, - 1/2,
        F4 1/4 0.6, ~G4 1/4, A4 1/4, ~Bb4 1/4, C5 1/4, ~D5 1/4, Eb5 1/4 0.75, ~E5 1/4, F5 1 0.85 accent, - 1/2,
        F5 1/4 0.7, ~Eb5 1/4, D5 1/4, ~C5 1/4, Bb4 1/4, ~A4 1/4, G4 1/4, ~F4 1/4,
        Eb4 1/4 0.6, Eb4 1/4, Eb4 1/4, G4 1/4, Bb4 1/4 0.7, Db5 1/4, C5 1/2 staccato, - 1/2,
        G4 1/4 0.35 ghost, A4 1/4 0.6, Bb4 1/4 0.4 ghost, C5 1/4 0.7, D5 1/2 0.8 accent, Bb4 1/2 staccato, - 1/2,
        F4 1/4 0.65, ~A4 1/4, C5 1/4, ~Eb5 1/4, D5 1/4, ~Bb4 1/4, G4 1/4, ~E4 1/4, F4 1/4, F4 1/4, F4 1/4, Ab4 1/4,
        Bb4 2 0.85 fall
        """
    ),
    "trumpet",
)
"""Sixteenths tongued in twos, repeated notes, ghost notes and a fall."""


def _in_parts(title: str, horn: str, *parts: tuple[float, str]) -> Phrase:
    """One phrase of several, each (tempo in bpm, notes) at its own tempo; the phrase counts beats of the first."""
    first_bpm = parts[0][0]
    notes = [replace(note, beats=note.beats * first_bpm / bpm) for bpm, written in parts for note in notes_of(written)]
    return Phrase(title, first_bpm, tuple(notes), horn)


HARBOUR_DAY = _in_parts(
    "Harbour day",
    "tenor sax",
    (
        88.0,
        """
        C4 1/2 0.5 tenuto, ~D4 1/2, F4 2 0.6 scoop, - 1,
        A4 1 0.6, ~G4 1/2, ~F4 1/2, G4 3/2 tenuto, - 1/2,
        A4 1/2, ~Bb4 1/2, C5 3/2 0.7 >0.6, ~A4 1/2, G4 1/2, ~F4 1/2,
        E4 1/2 0.55, ~G4 1/2, F4 2 >0.4, - 1
        """,
    ),
    (
        126.0,
        """
        Bb3 1/2 0.75 accent, Bb3 1/4, Bb3 1/4, D4 1/2 accent, F4 1/2 staccato, Bb4 3/2 accent, - 1/2,
        A4 1/2, ~Bb4 1/2, G4 1/2 staccato, Eb4 1/2 staccato, F4 3/2 accent, - 1/2,
        G4 1/2, ~A4 1/2, Bb4 1/2 staccato, C5 1/2 staccato, D5 1 0.8 accent, ~C5 1/2, Bb4 1/2 staccato,
        A4 1/4 0.7, ~Bb4 1/4, A4 1/4, ~G4 1/4, F4 1/2 staccato, Eb4 1/2 staccato, D4 3/2 tenuto, - 1/2,
        Eb4 1/2 accent, F4 1/2 staccato, A4 1/2 accent, C5 1/2 staccato, Bb4 3/2 0.8 accent, - 1/2,
        - 5/2
        """,
    ),
    (
        66.0,
        """
        - 3/2,
        A3 1/2 0.4 breathed, ~D4 1/2, F4 2 0.5 >0.65 scoop, ~E4 1/2, ~D4 1/2,
        E4 1/2 0.55 tenuto, ~F4 1/2, ~G4 1/2, ~Bb4 1/2, A4 3/2 0.6 >0.75, - 1/2,
        G4 1/2 0.6, ~F4 1/2, E4 1/2, ~C#4 1/2, D4 3/2 0.5 breathed >0.25, - 1/2
        """,
    ),
    (
        138.0,
        """
        F4 1/2 0.8 accent, F4 1/2 staccato, G4 1/2, ~A4 1/2, Bb4 3/2 accent, - 1/2,
        D5 1/2 0.8 accent, ~C5 1/2, ~Bb4 1/2, G4 1/2 staccato, C5 3/2 accent, - 1/2,
        F4 1/2 0.75, ~G4 1/2, A4 1/2 staccato, C5 1/2 staccato, Eb5 1 accent, ~D5 1/2, C5 1/2 staccato,
        Bb4 1/4 0.7, ~C5 1/4, Bb4 1/4, ~A4 1/4, G4 1/2 staccato, Eb4 1/2 staccato, F4 3/2 growl, - 1/2,
        D4 1/2 0.8 accent, F4 1/2 staccato, Bb4 1/2, ~D5 1/2, C5 1/2 accent, A4 1/2 staccato, F4 1/2, ~A4 1/2,
        Bb4 3 0.85 tenuto >0.7, - 1
        """,
    ),
)
"""A day of parades: four bars of morning in F, six of noon in B flat, three of dusk in D minor, six of a finale.

The last bar of noon is silence, and in the middle of it dusk begins to count.
"""


def articulation_study(horn: str = "tenor sax", pitch: float = 58.0) -> Phrase:
    """One note of every articulation, in the order of `ARTICULATIONS`, each followed by a rest, at 100 bpm.

    After them come a slurred pair, four repeated sixteenths, and the note an octave and a half up, very short.
    """
    notes: list[Note] = []
    for name in ARTICULATIONS:
        notes += [Note(pitch, 2.0, 0.65, name), Note(None, 1.0)]
    notes += [Note(pitch, 1.0, 0.6), Note(pitch + 5.0, 1.0, 0.6, slurred=True), Note(None, 1.0)]
    notes += [*(Note(pitch, 0.25, 0.65) for _ in range(4)), Note(None, 1.0)]
    notes += [Note(pitch + 18.0, 0.2, 0.7, "staccato"), Note(None, 1.0)]
    return Phrase(f"Every way to say it ({horn})", 100.0, tuple(notes), horn)


PHRASES: dict[str, Phrase] = {
    "low water": LOW_WATER,
    "lantern waltz": LANTERN_WALTZ,
    "ropewalk": ROPEWALK,
    "harbour day": HARBOUR_DAY,
    "articulation study": articulation_study(),
}
"""Every phrase by name."""
