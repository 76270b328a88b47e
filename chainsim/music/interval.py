"""Intervals: "P5 above" and "+7 semitones" are so many semitones, "third above" so many steps in a key."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass

from chainsim.errors import SettingError

WIDEST_SEMITONES = 36
_WIDEST_NUMBER = 22
_MAJOR_SIZES = (0, 2, 4, 5, 7, 9, 11)
_PERFECT = (0, 3, 4)
_DIRECTIONS = ("above", "below")
_DIRECTIONS_ELSEWHERE = {
    **dict.fromkeys(("above", "over", "up", "higher"), "above"),
    **dict.fromkeys(("below", "under", "down", "lower"), "below"),
}
"""Not read all of them, but named as what they mean."""
_QUALITY_WORDS = {"perfect": "P", "major": "M", "minor": "m", "augmented": "A", "diminished": "d"}
# fmt: off
_ORDINALS = (
    "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth", "tenth", "eleventh",
    "twelfth", "thirteenth", "fourteenth", "fifteenth", "sixteenth", "seventeenth", "eighteenth", "nineteenth",
    "twentieth", "twenty-first", "twenty-second",
)
# fmt: on
# Steps by which 0 ... 11 semitones are usually spelt; 6 as the augmented fourth.
_USUAL_STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)

_LETTERED = re.compile(r"([PpMmAaDd])([0-9]{1,2})")
_SEMITONES = re.compile(r"([+-]?)([0-9]{1,3}) semitones?(?: (above|below))?", re.I)
_NUMERAL = re.compile(r"([0-9]{1,2})(?:st|nd|rd|th)")


@dataclass(frozen=True)
class Interval:
    """A distance that is the same from every note.

    Attributes
    ----------
    semitones : int
        -36 ... 36; negative is below.
    steps : int
        Letters from one note to the other (a fifth is 4), signed; for spelling. Semitones take their usual spelling.
    text : str
        The tidy way to write it.
    """

    semitones: int
    steps: int
    text: str


@dataclass(frozen=True)
class StepInterval:
    """A distance in steps of a key: a third above is 2, a sixth below -5. How wide it is, the key says.

    Attributes
    ----------
    steps : int
        -20 ... 20, signed; counted as in a scale of seven notes. Never a whole number of octaves: see `parse_interval`.
    text : str
        The tidy way to write it.
    """

    steps: int
    text: str


def parse_interval(text: str) -> Interval | StepInterval:
    """Read an interval.

    Parameters
    ----------
    text : str
        - With quality: "P5 above", "m3 below", "A4 above", "M10 below", "major tenth below"; up to three octaves.
        - In semitones: "+7 semitones", "5 semitones below"; whole numbers.
        - In the key: "third above", "sixth below", "10th above".
        - "unison", "octave above", "fifteenth below": the same in every key, so they need none.

    Returns
    -------
    Interval or StepInterval
        The latter for those in the key.

    Raises
    ------
    SettingError
        If it is none of these, wider than three octaves, or of a quality that its number cannot have.
    """
    tidy = " ".join(text.replace("\N{MINUS SIGN}", "-").split())
    if tidy.lower() in ("unison", "perfect unison"):
        return Interval(0, 0, "unison")
    if found := _SEMITONES.fullmatch(tidy):
        return _in_semitones(text, *found.groups(default=""))
    distance, _, direction = tidy.rpartition(" ")
    if direction.lower() not in _DIRECTIONS:
        raise _unreadable(text, tidy)
    quality, number = _read_distance(distance)
    if number is None:
        raise _unreadable(text, tidy)
    sign = 1 if direction.lower() == "above" else -1
    if not 1 <= number <= _WIDEST_NUMBER:
        raise _too_wide(text)
    steps = number - 1
    if not quality and steps % 7:
        return StepInterval(sign * steps, f"{_ORDINALS[steps]} {direction.lower()}")
    return _with_quality(text, quality or "P", steps, sign)


def _in_semitones(text: str, sign: str, digits: str, direction: str) -> Interval:
    if bool(sign) == bool(direction):
        raise SettingError(
            f'no interval "{text}", allowed a sign or a direction: "+{digits} semitones", "{digits} semitones below"'
        )
    size = int(digits)
    if size > WIDEST_SEMITONES:
        raise _too_wide(text)
    octaves, rest = divmod(size, 12)
    down = size > 0 and (sign == "-" or direction.lower() == "below")
    steps = 7 * octaves + _USUAL_STEPS[rest]
    signed = f"{'-' if down else '+'}{size} semitone{'' if size == 1 else 's'}"
    return Interval(-size if down else size, -steps if down else steps, signed)


def _read_distance(distance: str) -> tuple[str, int | None]:
    """Quality letter (empty if none) and number of "P5", "perfect fifth", "fifth", "5th"."""
    if found := _LETTERED.fullmatch(distance):
        letter = found[1]
        return (letter if letter in "Mm" else {"p": "P", "a": "A", "d": "d"}[letter.lower()]), int(found[2])
    first, _, rest = distance.lower().partition(" ")
    quality = _QUALITY_WORDS.get(first, "")
    ordinal = rest if quality else distance.lower()
    if found := _NUMERAL.fullmatch(ordinal):
        return quality, int(found[1])
    return quality, _ORDINALS.index(ordinal) + 1 if ordinal in _ORDINALS else None


def _with_quality(text: str, quality: str, steps: int, sign: int) -> Interval:
    octaves, place = divmod(steps, 7)
    offsets = {"P": 0, "A": 1, "d": -1} if place in _PERFECT else {"M": 0, "m": -1, "A": 1, "d": -2}
    if steps == 0:
        del offsets["d"]
    direction = "above" if sign > 0 else "below"
    if quality not in offsets:
        names = [f'"{q}{steps + 1} {direction}"' for q in offsets]
        raise SettingError(f'no interval "{text}", allowed {", ".join(names[:-1])} or {names[-1]}')
    semitones = 12 * octaves + _MAJOR_SIZES[place] + offsets[quality]
    if semitones > WIDEST_SEMITONES:
        raise _too_wide(text)
    if semitones == 0 and steps == 0:
        return Interval(0, 0, "unison")
    return Interval(sign * semitones, sign * steps, f"{quality}{steps + 1} {direction}")


def _too_wide(text: str) -> SettingError:
    return SettingError(f'no interval "{text}", allowed up to three octaves ("P22", 36 semitones)')


def _unreadable(text: str, tidy: str) -> SettingError:
    allowed = 'such as "P5 above", "m3 below", "+7 semitones", "third above" (in the key) or "unison"'
    meant = _meant(tidy)
    return SettingError(f'no interval "{text}", allowed {allowed}' + (f'; did you mean "{meant}"?' if meant else ""))


def _meant(tidy: str) -> str:
    """The right spelling nearest to a wrong one, empty where none is near: the direction read first, then how far."""
    if re.fullmatch("[+-]?[0-9]{1,2}", tidy) and abs(int(tidy)) <= WIDEST_SEMITONES:
        return f"{int(tidy):+d} semitones"
    distance, _, last = tidy.rpartition(" ")
    found = difflib.get_close_matches(last.lower(), _DIRECTIONS_ELSEWHERE, n=1, cutoff=0.6) if distance else []
    distance, direction = (distance, _DIRECTIONS_ELSEWHERE[found[0]]) if found else (tidy, "above")
    distance = re.sub(r"(?i)^(maj|min)[a-z.]* ?(?=[0-9])", lambda m: "m" if m[1].lower() == "min" else "M", distance)
    if _read_distance(distance)[1] is not None:
        try:
            return parse_interval(f"{distance} {direction}").text
        except SettingError:
            pass
    if near := difflib.get_close_matches(distance, _distances(), n=1, cutoff=0.65):
        return f"{near[0]} {direction}"
    spellings = ["unison", *(f"{sign}{n} semitones" for n in range(1, WIDEST_SEMITONES + 1) for sign in "+-")]
    spellings += [f"{each} {direction}" for each in _distances()]
    near = difflib.get_close_matches(tidy, spellings, n=1, cutoff=0.8)
    return near[0] if near and "." not in tidy else ""


def _distances() -> list[str]:
    """Every tidy spelling without its direction, lower numbers first."""
    names = []
    for steps in range(1, _WIDEST_NUMBER):
        qualities = "PAd" if steps % 7 in _PERFECT else "MmAd"
        words = [f"{word} " for word, letter in _QUALITY_WORDS.items() if letter in qualities]
        names += [f"{q}{steps + 1}" for q in qualities]
        names += [f"{word}{_ORDINALS[steps]}" for word in ("", *words)]
    return names
