"""A short way to write notes: `"E4 2, ~F#4 1/2 0.7, - 1, B4 3 accent"`.

Items are divided by commas. Each begins with a sounding pitch (`~` before it: slurred) or with `-` for a rest, then
beats as a number or a fraction. After that, in any order: a dynamic from 0 to 1, which stays until the next one;
`>` and a dynamic, to which the note swells; an articulation.
"""

from __future__ import annotations

from chainsim.errors import SettingError
from chainsim.horn.phrase import Note
from chainsim.music.pitch import parse_pitch


def notes_of(text: str, dynamic: float = 0.6) -> tuple[Note, ...]:
    """Notes of a written line.

    Raises
    ------
    SettingError
        If an item cannot be read.
    """
    notes = []
    for item in text.replace("\n", " ").split(","):
        words = item.split()
        if len(words) < 2:
            raise SettingError(f'"{item.strip()}": allowed is a pitch or "-", then beats: "Bb3 1/2"')
        spelt = words[0].removeprefix("~")
        swell_to, articulation = None, "tongued"
        for word in words[2:]:
            if word.startswith(">"):
                swell_to = _number(word[1:], item)
            elif word[0].isdigit():
                dynamic = _number(word, item)
            else:
                articulation = word
        pitch = None if spelt == "-" else float(parse_pitch(spelt))
        slurred = words[0].startswith("~")
        notes.append(Note(pitch, _number(words[1], item), dynamic, articulation, slurred, swell_to))
    return tuple(notes)


def _number(word: str, item: str) -> float:
    over, _, under = word.partition("/")
    try:
        return float(over) / float(under or 1.0)
    except (ValueError, ZeroDivisionError):
        raise SettingError(f'"{item.strip()}": "{word}" is no number, allowed are 1, 0.5, 1/2') from None
