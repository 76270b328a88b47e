"""Reading the key of a sketch or a patch: checked, and as it sounds."""

from __future__ import annotations

from chainsim.errors import SettingError
from chainsim.sketch.general_settings import Header


def read_key(text: object, header: Header, place: str, faults: list[str]) -> str | None:
    """The sounding key for what is written, or None with a fault told; of a written key the instrument transposes."""
    from chainsim.music.horns import find_horn
    from chainsim.music.scale import parse_key
    from chainsim.music.written import sounding_key

    if not isinstance(text, str):
        faults.append(f'{place} = {text!r}, allowed a key such as "E minor"')
        return None
    try:
        key = parse_key(text).text
    except SettingError as error:
        faults.append(f"{place}: {error}")
        return None
    try:
        horn = find_horn(header.instrument) if header.instrument is not None else None
    except SettingError:
        return key  # told where the instrument is
    return sounding_key(key, horn) if horn is not None and header.pitch_names == "written" else key
