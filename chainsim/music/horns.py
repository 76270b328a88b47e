"""Horns: how they transpose, and which notes sound from them.

Ranges are sounding. `low`-`high` is what a handbook gives; `reach_low`-`reach_high` is what players get beyond it:
keys that only some instruments have, altissimo, pedal tones. A search for pitch adds a margin for tuning and scoops.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from chainsim.errors import SettingError, nearest
from chainsim.music.pitch import midi_to_hz, parse_pitch, parse_pitch_class, pitch_class_name, plain_accidentals

ANY_HORN_HZ = (40.0, 2000.0)
"""Range in which to look for the pitch of a horn that is not named."""

_REFERENCE = "reference pages for transposition and written range, ends derived; reach: "
_SAX = _REFERENCE + "high F# key and a major sixth of altissimo, as reference pages give"
_MEMORY = "common practice, from memory"


@dataclass(frozen=True)
class Horn:
    """One kind of wind instrument.

    Attributes
    ----------
    name : str
        As players say it: "tenor sax".
    transposition : int
        Semitones from the written note to the sounding one: -14 for a tenor sax.
    low, high : int
        MIDI notes, sounding: lowest and highest of the usual range.
    reach_low, reach_high : int
        MIDI notes, sounding: the same with what players reach beyond.
    source : str
        Where the figures come from.
    """

    name: str
    transposition: int
    low: int
    high: int
    reach_low: int
    reach_high: int
    source: str

    @property
    def key_name(self) -> str:
        """The note that sounds for a written C: "Bb"."""
        return pitch_class_name(self.transposition)

    def range_hz(self, a4_hz: float = 440.0) -> tuple[float, float]:
        """Lowest and highest frequency of the usual range."""
        return midi_to_hz(self.low, a4_hz), midi_to_hz(self.high, a4_hz)

    def reach_hz(self, a4_hz: float = 440.0) -> tuple[float, float]:
        """Lowest and highest frequency that players reach."""
        return midi_to_hz(self.reach_low, a4_hz), midi_to_hz(self.reach_high, a4_hz)

    def search_hz(self, a4_hz: float = 440.0) -> tuple[float, float]:
        """Range in which to look for its pitch: a semitone more at either end, for tuning, scoops and falls."""
        return midi_to_hz(self.reach_low - 1, a4_hz), midi_to_hz(self.reach_high + 1, a4_hz)


def _horn(name: str, transposition: int, usual: str, reach: str, source: str = _MEMORY) -> tuple[str, Horn]:
    """One row: ranges as sounding pitch names, "Ab2 Eb5"."""
    ends = [parse_pitch(end) for end in f"{usual} {reach}".split()]
    return name, Horn(name, transposition, ends[0], ends[1], ends[2], ends[3], source)


HORNS = dict(
    [
        _horn("sopranino sax", 3, "Db4 Ab6", "Db4 F#7"),
        _horn("soprano sax", -2, "Ab3 Eb6", "Ab3 C#7", _SAX),
        _horn("alto sax", -9, "Db3 Ab5", "Db3 F#6", _SAX),
        _horn("tenor sax", -14, "Ab2 Eb5", "Ab2 C#6", _SAX),
        _horn("baritone sax", -21, "Db2 Ab4", "C2 F#5", _SAX + "; low A key"),
        _horn("bass sax", -26, "Ab1 Eb4", "Ab1 C#5"),
        _horn("contrabass sax", -33, "Db1 Ab3", "Db1 F#4"),
        _horn("c melody sax", -12, "Bb2 F5", "Bb2 D#6"),
        _horn("trumpet", -2, "E3 Bb5", "Bb2 Bb6", _REFERENCE + "pedal tones and the double high C, from memory"),
        _horn("c trumpet", 0, "F#3 C6", "C3 C7"),
        _horn("cornet", -2, "E3 Bb5", "Bb2 F6"),
        _horn("flugelhorn", -2, "E3 Bb5", "Bb2 Eb6"),
        _horn("piccolo trumpet", 10, "E4 F6", "D4 Bb6"),
        _horn("bass trumpet", -14, "E2 Bb4", "Bb1 F5"),
        _horn("trombone", 0, "E2 C5", "E1 F5", _REFERENCE + "pedal tones and the highest slide notes, from memory"),
        _horn("alto trombone", 0, "A2 F5", "Eb2 Bb5"),
        _horn("bass trombone", 0, "Bb1 Bb4", "C1 F5"),
        _horn("french horn", -7, "B1 F5", "F1 A5", _REFERENCE + "pedal tones and the highest solo notes, from memory"),
        _horn("alto horn", -9, "A2 Eb5", "Eb2 A5"),
        _horn("baritone horn", 0, "E2 Bb4", "Bb1 F5"),
        _horn("euphonium", 0, "E2 Bb4", "E1 F5"),
        _horn("tuba", 0, "D1 F4", "Bb0 Bb4"),
        _horn("clarinet", -2, "D3 Bb6", "D3 D7", _REFERENCE + "written E7, which some tables give"),
        _horn("a clarinet", -3, "C#3 A6", "C#3 C#7"),
        _horn("eb clarinet", 3, "G3 C7", "G3 Eb7"),
        _horn("alto clarinet", -9, "Gb2 Bb5", "Gb2 Eb6"),
        _horn("basset horn", -7, "F2 C6", "F2 F6"),
        _horn("bass clarinet", -14, "Db2 F5", "Bb1 C6"),
        _horn("contrabass clarinet", -26, "Db1 D4", "Bb0 F4"),
        _horn("piccolo", 12, "D5 C8", "C5 D8"),
        _horn("flute", 0, "C4 C7", "B3 F7", _REFERENCE + "B foot and the fourth octave, from memory"),
        _horn("alto flute", -5, "G3 G6", "F#3 B6"),
        _horn("bass flute", -12, "C3 C6", "B2 E6"),
        _horn("soprano recorder", 12, "C5 D7", "C5 G7"),
        _horn("alto recorder", 0, "F4 G6", "F4 C7"),
        _horn("tenor recorder", 0, "C4 D6", "C4 G6"),
        _horn("oboe", 0, "Bb3 G6", "Bb3 C7"),
        _horn("oboe d'amore", -3, "G#3 D6", "G#3 E6"),
        _horn("english horn", -7, "E3 A5", "E3 C6"),
        _horn("bassoon", 0, "Bb1 Eb5", "A1 F5"),
        _horn("contrabassoon", -12, "Bb0 C4", "A0 F4"),
    ]
)
"""Every horn by name. Low brass as written in the bass clef, that is, as it sounds."""

_OTHER_NAMES = {
    "horn": "french horn",
    "cor anglais": "english horn",
    "tenor horn": "alto horn",
    "bari sax": "baritone sax",
    "melody sax": "c melody sax",
    "flugel": "flugelhorn",
    "flugel horn": "flugelhorn",
    "pocket trumpet": "trumpet",
    "tenor trombone": "trombone",
    "bb trombone": "trombone",
    "bb euphonium": "euphonium",
    "bb baritone horn": "baritone horn",
    "bb tuba": "tuba",
    "eb tuba": "tuba",
    "f tuba": "tuba",
    "f alto recorder": "alto recorder",
    "valve trombone": "trombone",
    "sousaphone": "tuba",
    "soprano clarinet": "clarinet",
    "sopranino clarinet": "eb clarinet",
    "piccolo clarinet": "eb clarinet",
    "piccolo flute": "piccolo",
    "concert flute": "flute",
    "descant recorder": "soprano recorder",
    "treble recorder": "alto recorder",
    "contra bassoon": "contrabassoon",
    "double bassoon": "contrabassoon",
}


def find_horn(name: str) -> Horn:
    """Find a horn by any usual name.

    Parameters
    ----------
    name : str
        "tenor sax", "Tenor Saxophone", "B flat trumpet", "clarinet in A"; capitals and hyphens don't matter.

    Raises
    ------
    SettingError
        If there is no such horn, or not in the key named.
    """
    plain = _plain(name)
    if horn := _named(plain):
        return horn
    key, _, rest = plain.partition(" ")
    horn = _named(rest)
    if horn is not None and _is_note(key):
        if parse_pitch_class(key)[0] == horn.transposition % 12:
            return horn
        raise SettingError(f'no horn "{name}"; the {horn.name} known here is in {horn.key_name}')
    meant = nearest(plain, [*HORNS, *_OTHER_NAMES])
    raise SettingError(f'no horn "{name}"{meant}{" Allowed:" if meant else ", allowed"} {", ".join(HORNS)}')


def _named(plain: str) -> Horn | None:
    return HORNS.get(_OTHER_NAMES.get(plain, plain))


def _plain(name: str) -> str:
    """Small letters, "sax" for "saxophone", the key as "bb" and in front."""
    words = " ".join(
        plain_accidentals(name).lower().replace("-", " ").replace("\N{RIGHT SINGLE QUOTATION MARK}", "'").split()
    )
    words = re.sub(r"\b([a-g]) (flat|sharp)\b", lambda m: m[1] + ("b" if m[2] == "flat" else "#"), words)
    words = words.replace("saxophone", "sax")
    if found := re.fullmatch(r"(.+) in ([a-g][b#]?)", words):
        words = f"{found[2]} {found[1]}"
    return words


def _is_note(word: str) -> bool:
    return re.fullmatch(r"[a-g][b#]?", word) is not None
