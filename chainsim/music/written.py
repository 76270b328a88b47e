"""Written and sounding pitch: what stands on a horn's part, and what comes out."""

from __future__ import annotations

from chainsim.errors import SettingError
from chainsim.music.horns import Horn
from chainsim.music.pitch import parse_pitch, pitch_class_name, pitch_name
from chainsim.music.scale import parse_key


def sounding_pitch(written: str, horn: Horn) -> int:
    """MIDI note that sounds when `horn` plays the written pitch.

    Raises
    ------
    SettingError
        If `written` is no pitch, or sounds outside MIDI's 0 ... 127.
    """
    midi = parse_pitch(written) + horn.transposition
    if not 0 <= midi <= 127:
        raise SettingError(f'written "{written}" on a {horn.name} sounds at MIDI note {midi}, allowed 0 ... 127')
    return midi


def written_name(midi: int, horn: Horn, *, flats: bool = True) -> str:
    """Name that stands on the part of `horn` for a sounding MIDI note.

    Raises
    ------
    SettingError
        If it would be written outside "C-1" ... "G9".
    """
    return pitch_name(midi - horn.transposition, flats=flats)


def sounding_key(written: str, horn: Horn) -> str:
    """Key that sounds when `horn` plays in the written one: "E minor" on a clarinet is "D minor".

    The tonic takes the spelling with the fewer sharps or flats in the signature; if they are as many, the kind that the
    written key has.

    Raises
    ------
    SettingError
        If `written` is no key.
    """
    key = parse_key(written)
    pitch_class = key.tonic_pc + horn.transposition
    spelled = [parse_key(f"{pitch_class_name(pitch_class, flats=flats)} {key.scale}") for flats in (True, False)]
    return min(spelled, key=lambda k: (abs(k.signature), (k.signature < 0) != (key.signature < 0))).text
