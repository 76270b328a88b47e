"""Note values: how long "1/8 dotted" lasts at a tempo.

    seconds = beats * 60 / bpm, a beat being a quarter; dotted x 3/2, triplet x 2/3            (1)
    swung:    2 * beats * swing_percent / 100 * 60 / bpm, the first and longer of a pair       (2)

Definition; a dot adds half, a triplet puts three in the time of two.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from chainsim.errors import SettingError, nearest

_LENGTHS = {"2/1": 8.0, **{f"1/{2**k}": 4.0 / 2**k for k in range(7)}}
_FACTORS = {"": 1.0, "dotted": 1.5, "triplet": 2.0 / 3.0}
_MAY_SWING = ("1/8", "1/16")
_ABBREVIATIONS = {"d": "dotted", ".": "dotted", "t": "triplet", "s": "swung"}


@dataclass(frozen=True)
class NoteValue:
    """A length in musical time.

    Attributes
    ----------
    beats : float
        Straight length in quarters.
    swung : bool
        Whether it is the first of a swung pair, which two such values share unequally.
    """

    beats: float
    swung: bool = False


def parse_note_value(text: str) -> NoteValue:
    """Read a note value.

    Parameters
    ----------
    text : str
        "2/1", "1/1" ... "1/64", alone or with "dotted" or "triplet", in either order; "1/8 swung" and "1/16 swung".

    Raises
    ------
    SettingError
        If it is none of these.
    """
    words = text.lower().split()
    length = next((w for w in words if w in _LENGTHS), None)
    if length is not None and len(words) <= 2:
        rest = "".join(w for w in words if w != length)
        if len(words) == 1 or (rest in _FACTORS and rest):
            return NoteValue(_LENGTHS[length] * _FACTORS[rest])
        if rest == "swung" and length in _MAY_SWING:
            return NoteValue(_LENGTHS[length], swung=True)
    allowed = '"1/1", "1/2", "1/4" ... "1/64" or "2/1", alone or with dotted or triplet; "1/8 swung", "1/16 swung"'
    raise SettingError(f'no note value "{text}", allowed {allowed}{_meant(" ".join(words))}')


def note_seconds(value: NoteValue, bpm: float, swing_percent: float = 50.0) -> float:
    """Length in seconds of a note value: equation (1), or (2) for a swung one.

    Parameters
    ----------
    value : NoteValue
    bpm : float > 0
        Quarters a minute.
    swing_percent : float, 0 < swing_percent < 100
        Share of a pair that its first note gets: 50 is straight, 66.7 is the feel of a triplet. Only for swung values.

    Raises
    ------
    SettingError
        If a value is outside its range.
    """
    if not 0.0 < bpm < math.inf:
        raise SettingError(f"tempo_bpm = {bpm:g} bpm, allowed above 0 bpm")
    if not 0.0 < swing_percent < 100.0:
        raise SettingError(f"swing_percent = {swing_percent:g} %, allowed above 0 % and below 100 %")
    beats = 2.0 * value.beats * swing_percent / 100.0 if value.swung else value.beats
    return beats * 60.0 / bpm


def _meant(text: str) -> str:
    """The nearest right spelling, abbreviations and threes of a shorter value understood."""
    if (found := re.fullmatch(r"3/([0-9]+)", text)) and (half := f"1/{int(found[1]) // 2}") in _LENGTHS:
        text = f"{half} dotted"
    elif (found := re.fullmatch(r"([0-9]+/[0-9]+) ?([dts.])", text)) is not None:
        text = f"{found[1]} {_ABBREVIATIONS[found[2]]}"
    known = [f"{length} {word}".strip() for word in _FACTORS for length in _LENGTHS]
    return nearest(text, [*known, *(f"{length} swung" for length in _MAY_SWING)])
