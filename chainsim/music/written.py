"""Written and sounding keys: what stands on a horn's part, and what comes out."""

from __future__ import annotations

from chainsim.music.horns import Horn
from chainsim.music.pitch import pitch_class_name
from chainsim.music.scale import parse_key


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
