"""Keys and scales: "E minor", "G dorian"; which notes belong to them, and harmonies that stay in them."""

from __future__ import annotations

import bisect
import difflib
from dataclasses import dataclass

from chainsim.errors import SettingError
from chainsim.music.interval import Interval, StepInterval
from chainsim.music.pitch import alteration_of, parse_pitch_class


@dataclass(frozen=True)
class _Scale:
    degrees: tuple[int, ...]
    """Semitones over the tonic."""
    fifths: int
    """Sharps (flats if negative) in its key signature on C."""


_MINOR = _Scale((0, 2, 3, 5, 7, 8, 10), -3)
_SCALES = {
    "major": _Scale((0, 2, 4, 5, 7, 9, 11), 0),
    "minor": _MINOR,
    "ionian": _Scale((0, 2, 4, 5, 7, 9, 11), 0),
    "dorian": _Scale((0, 2, 3, 5, 7, 9, 10), -2),
    "phrygian": _Scale((0, 1, 3, 5, 7, 8, 10), -4),
    "lydian": _Scale((0, 2, 4, 6, 7, 9, 11), 1),
    "mixolydian": _Scale((0, 2, 4, 5, 7, 9, 10), -1),
    "aeolian": _MINOR,
    "locrian": _Scale((0, 1, 3, 5, 6, 8, 10), -5),
    "harmonic minor": _Scale((0, 2, 3, 5, 7, 8, 11), -3),
    "melodic minor": _Scale((0, 2, 3, 5, 7, 9, 11), -3),
    "major pentatonic": _Scale((0, 2, 4, 7, 9), 0),
    "minor pentatonic": _Scale((0, 3, 5, 7, 10), -3),
    "blues": _Scale((0, 3, 5, 6, 7, 10), -3),
    "whole-tone": _Scale((0, 2, 4, 6, 8, 10), 0),
    "diminished": _Scale((0, 2, 3, 5, 6, 8, 9, 11), 0),
    "half-whole diminished": _Scale((0, 1, 3, 4, 6, 7, 9, 10), 0),
}
"""Melodic minor as it ascends; blues is the minor blues; diminished goes whole step first, then half."""

_OTHER_NAMES = {
    "natural minor": "minor",
    "minor blues": "blues",
    "whole-half diminished": "diminished",
}
_BY_PLAIN_NAME = {name.replace("-", " "): scale for name, scale in [*((n, n) for n in _SCALES), *_OTHER_NAMES.items()]}

_TONICS_ELSEWHERE = {
    **{"h": "B", "es": "Eb", "as": "Ab"},
    **{f"{letter}is": f"{letter.upper()}#" for letter in "cdfga"},
    **{f"{letter}es": f"{letter.upper()}b" for letter in "cdg"},
    **{"do": "C", "re": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"},
}
_SCALES_ELSEWHERE = {"dur": "major", "moll": "minor"}
"""Names in German and in solmisation: not read, but the key that they mean is named."""

_SIGNS = {"flat": "b", "sharp": "#"}

_LIKE, _ALIKE = 0.6, 0.8
"""Likeness (difflib's ratio) of a misspelt name; and of one that may as well be another word, cut in two."""

_TRUE_SIZES = ((0,), (1, 2), (3, 4), (5,), (7,), (8, 9), (10, 11))
"""Semitones of a perfect, minor or major interval, by its steps."""

_FIFTHS_OF_LETTER = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}


@dataclass(frozen=True)
class Key:
    """A tonic and a scale over it.

    Attributes
    ----------
    tonic_pc : int
        Pitch class of the tonic; 0 is C.
    tonic : str
        Its spelling: "Bb".
    scale : str
        Name of the scale: "harmonic minor".
    degrees : tuple of int
        Semitones of the scale's notes over the tonic, from 0 upwards.
    """

    tonic_pc: int
    tonic: str
    scale: str
    degrees: tuple[int, ...]

    @property
    def text(self) -> str:
        """The tidy way to write the key."""
        return f"{self.tonic} {self.scale}"

    @property
    def signature(self) -> int:
        """Sharps in the key signature; negative for flats. Symmetric scales count as the major key of their tonic."""
        tonic_fifths = _FIFTHS_OF_LETTER[self.tonic[0]] + 7 * alteration_of(self.tonic[1:])
        return tonic_fifths + _SCALES[self.scale].fifths

    def contains(self, midi: int) -> bool:
        """Whether a note belongs to the scale."""
        return (midi - self.tonic_pc) % 12 in self.degrees

    def walk(self, midi: int, count: int) -> int:
        """The note `count` notes of the scale up, or down if negative.

        From a note outside the scale, the first scale note on the way counts as one; with a count of 0 it stays.
        """
        if count == 0:
            return midi
        octave, above_tonic = divmod(midi - self.tonic_pc, 12)
        # From between two scale notes the index is that of the upper one: already one note up.
        index = bisect.bisect_left(self.degrees, above_tonic) + octave * len(self.degrees)
        if count > 0 and not self.contains(midi):
            count -= 1
        octaves, degree = divmod(index + count, len(self.degrees))
        return self.tonic_pc + 12 * octaves + self.degrees[degree]

    def step(self, midi: int, steps: int) -> int:
        """The note `steps` steps above (below if negative) in the key: a third is 2, a sixth 5, an octave 7.

        - From a note of a scale of seven notes: that many scale notes on.
        - From any other note, be it outside the scale or in a scale of fewer or more notes: the scale note that makes a
          true interval of that number, perfect, minor or major. Of two such the narrower, or for a fifth, sixth or
          seventh the wider, so that a sixth above is a third below an octave higher.
        - If the scale has none: a note outside takes the true interval and its harmony leaves the scale too (a fifth
          above Eb in C major is Bb); a note inside takes the scale note that comes nearest to one, and of two the one
          nearer to half an octave.

        Whole octaves are octaves everywhere. So in C major a third above Eb is G, above F# A, and above Bb D.
        """
        octaves, number = divmod(abs(steps), 7)
        sign = 1 if steps > 0 else -1
        if number and len(self.degrees) == 7 and self.contains(midi):
            return self.walk(midi, steps)
        return midi + sign * (12 * octaves + self._size(midi, number, sign))

    def move(self, midi: int, interval: Interval | StepInterval) -> int:
        """The note an interval away: so many semitones, or so many steps in the key."""
        return midi + interval.semitones if isinstance(interval, Interval) else self.step(midi, interval.steps)

    def _size(self, midi: int, number: int, sign: int) -> int:
        """Semitones of a harmony of `number` steps, 0 ... 6, where counting scale notes won't do."""
        true = _TRUE_SIZES[number]
        inside = [size for size in range(12) if self.contains(midi + sign * size)]
        sizes = [size for size in true if size in inside]
        if not sizes and self.contains(midi):
            sizes = [min(inside, key=lambda size: (min(abs(size - t) for t in true), abs(size - 6)))]
        return (min if number <= 3 else max)(sizes or true)


def parse_key(text: str) -> Key:
    """Read a key: a tonic and the name of a scale.

    Parameters
    ----------
    text : str
        "E minor", "Bb major", "F sharp dorian", "C half-whole diminished"; capitals don't matter.

    Raises
    ------
    SettingError
        If the tonic or the scale is not known.
    """
    words = text.split()
    # A tonic may take two words ("B flat"), so the longest beginning that is a note is it.
    for split in (2, 1):
        try:
            tonic_pc, tonic = parse_pitch_class(" ".join(words[:split]))
        except SettingError:
            continue
        scale = _find_scale(text, tonic, " ".join(words[split:]))
        return Key(tonic_pc, tonic, scale, _SCALES[scale].degrees)
    allowed = 'a tonic A to G, b or # if need be, and a scale, such as "E minor"'
    raise SettingError(f'no key "{text}", allowed {allowed}{_other_reading(text)}')


def _find_scale(text: str, tonic: str, name: str) -> str:
    plain = _plain(name)
    if plain in _BY_PLAIN_NAME:
        return _BY_PLAIN_NAME[plain]
    sign, _, rest = plain.partition(" ")
    if found := difflib.get_close_matches(sign, _SIGNS, n=1, cutoff=_LIKE):
        tonic, plain = tonic + _SIGNS[found[0]], rest
    raise SettingError(f'no key "{text}", allowed scales {", ".join(_SCALES)}{_did_you_mean(tonic, plain)}')


def _other_reading(text: str) -> str:
    """A hint where a tonic stands by another name ("H"), in one word with the scale ("Em", "Cmajor"), or behind it."""
    words = text.replace("-", " ").split()
    if not words or _plain(text) in _BY_PLAIN_NAME:
        return ""
    first, *others = words
    readings = [
        (first, others, _LIKE),
        (first[:2], [first[2:], *others], _ALIKE),
        (first[:1], [first[1:], *others], _ALIKE),
        (words[-1], words[:-1], _LIKE),
    ]
    for spelt, scale, likeness in readings:
        try:
            tonic = parse_pitch_class(_TONICS_ELSEWHERE.get(spelt.lower(), spelt))[1]
        except SettingError:
            continue
        if hint := _did_you_mean(tonic, _plain(" ".join(scale)), likeness):
            return hint
    return ""


def _did_you_mean(tonic: str, plain: str, likeness: float = _LIKE) -> str:
    keys = " or ".join(f'"{tonic} {_BY_PLAIN_NAME[_plain(name)]}"' for name in _meant(plain, likeness))
    return f"; did you mean {keys}?" if keys else ""


def _meant(plain: str, likeness: float) -> list[str]:
    """Scales that a name may stand for: begun, of another language, or misspelt."""
    words = [_SCALES_ELSEWHERE.get(word, word) for word in plain.split()]
    if not words:
        return ["major", "minor"]
    return _begun(words) or difflib.get_close_matches(" ".join(words), _BY_PLAIN_NAME, n=1, cutoff=likeness)


def _begun(words: list[str]) -> list[str]:
    """Scales that have words beginning so, in any order ("mel", "minor harmonic"), of those the shortest names."""
    parts = ["minor" if word == "m" else word for word in words]
    begun = [n for n in _SCALES if all(any(w.startswith(part) for w in _plain(n).split()) for part in parts)]
    return [n for n in begun if len(_plain(n).split()) == min(len(_plain(other).split()) for other in begun)]


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("-", " ").split())
