"""Pitch names and MIDI note numbers: "Bb3" is 58; C4 is middle C, 60 (scientific pitch notation).

    f = a4_hz * 2^((n - 69) / 12)                                  (1)

Reference pitch A4 = 440 Hz unless said otherwise (ISO 16:1975); note 69 is that A (MIDI 1.0).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from chainsim.errors import SettingError, nearest

LOWEST, HIGHEST = 0, 127
_PC_OF_LETTER = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_ALLOWED = 'a letter A to G, b or # if need be, and an octave: "C-1" ... "G9" ("C4" is middle C)'
_SPELLING = re.compile(r"([A-Ga-g])(bb?|##?)?")
_SPOKEN = re.compile(r"([A-G])[\s-]*(flat|sharp)", re.I)
_PITCH = re.compile(_SPELLING.pattern + r"(-?[0-9]{1,2})")


def parse_pitch(text: str) -> int:
    """MIDI note number of a pitch name.

    Parameters
    ----------
    text : str
        A letter, up to two flats (b, ♭) or sharps (#, ♯), and an octave; the octave belongs to the letter, so that
        "Cb4" is the note below "C4".

    Returns
    -------
    int
        0 ("C-1") ... 127 ("G9").

    Raises
    ------
    SettingError
        If it is no such name, or lies outside that range.
    """
    found = _PITCH.fullmatch(plain_accidentals(text.strip()).replace("\N{MINUS SIGN}", "-"))
    if found is None:
        if _SPELLING.fullmatch(plain_accidentals(text)):
            raise SettingError(f'no pitch "{text}", allowed with an octave, such as "{text}4"')
        raise SettingError(f'no pitch "{text}", allowed {_ALLOWED}{nearest(text, _all_names())}')
    letter, alteration, octave = found.groups(default="")
    midi = 12 * (int(octave) + 1) + _PC_OF_LETTER[letter.upper()] + alteration_of(alteration)
    if not LOWEST <= midi <= HIGHEST:
        raise SettingError(f'no pitch "{text}", allowed {_ALLOWED}')
    return midi


def pitch_name(midi: int, *, flats: bool = True) -> str:
    """Name of a MIDI note number, its black keys as flats or as sharps.

    Raises
    ------
    SettingError
        If `midi` is outside 0 ... 127.
    """
    if not LOWEST <= midi <= HIGHEST:
        raise SettingError(f"MIDI note = {midi}, allowed {LOWEST} ... {HIGHEST}")
    return f"{pitch_class_name(midi, flats=flats)}{midi // 12 - 1}"


def pitch_class_name(pitch_class: int, *, flats: bool = True) -> str:
    """Name without octave of a pitch class or a MIDI note number."""
    return (_FLAT_NAMES if flats else _SHARP_NAMES)[pitch_class % 12]


def parse_pitch_class(text: str) -> tuple[int, str]:
    """Pitch class (0 is C) and tidy spelling of a note without octave: "Bb", "f♯", "B flat", "E-flat".

    Raises
    ------
    SettingError
        If it is no such name.
    """
    tidy = plain_accidentals(text.strip())
    if spoken := _SPOKEN.fullmatch(tidy):
        tidy = spoken[1] + ("b" if spoken[2].lower() == "flat" else "#")
    found = _SPELLING.fullmatch(tidy)
    if found is None:
        raise SettingError(f'no note "{text}", allowed a letter A to G, then b or # if need be')
    letter, alteration = found.groups(default="")
    return (_PC_OF_LETTER[letter.upper()] + alteration_of(alteration)) % 12, letter.upper() + alteration


def plain_accidentals(text: str) -> str:
    """Write flat and sharp signs as b and #."""
    return text.replace("♭", "b").replace("♯", "#")


def alteration_of(accidentals: str) -> int:
    """Semitones by which accidentals move a letter: "b" -1, "##" +2."""
    return accidentals.count("#") - accidentals.count("b")


def midi_to_hz(midi: float, a4_hz: float = 440.0) -> float:
    """Frequency in Hz of a note number, which may be fractional: equation (1)."""
    return float(a4_hz * 2.0 ** ((midi - 69.0) / 12.0))


def hz_to_midi(freq_hz: float, a4_hz: float = 440.0) -> float:
    """Fractional note number of a frequency: equation (1) solved for n.

    Raises
    ------
    SettingError
        If the frequency is not above 0 Hz.
    """
    if not freq_hz > 0.0:
        raise SettingError(f"freq_hz = {freq_hz:g} Hz, allowed above 0 Hz")
    return 69.0 + 12.0 * math.log2(freq_hz / a4_hz)


def _all_names() -> Iterator[str]:
    for flats in (True, False):
        yield from (pitch_name(n, flats=flats) for n in range(LOWEST, HIGHEST + 1))
