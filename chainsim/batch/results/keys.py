"""Names of sounds by what they are made of: sketch, take, and the code that renders them.

Equal keys are equal sounds, bit for bit on one machine, so what lies under a key is never rendered again.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from chainsim.kernel import source_hash
from chainsim.sketch.hashing import file_hash, files_among, words_in
from chainsim.sketch.model import Sketch

_LIBRARIES = ("numpy", "scipy", "numba", "soundfile")
_HEARD = ("base", "patches", "controllers", "cues", "taps", "patch", "room")
_UNHEARD = {"format", "title", "cue_file", "cue_channel", "pitch_names", "tempo_bpm", "key", "trim_db"}
"""What of a sketch's head is only told, or has become cues and states."""


@functools.cache
def identity() -> str:
    """Version of the running code, and a hash of it and its libraries, "VERSION+HASH": others may sound otherwise."""
    import soundfile

    libraries = [f"{name} {version(name)}" for name in _LIBRARIES]
    decoder: str = soundfile.__libsndfile_version__
    return f"{version('chainsim')}+{_hash(source_hash(), *libraries, decoder)[:16]}"


class NamedFiles:
    """Hashes of the files that sketches name, each read once: for many sketches that are looked at together."""

    def __init__(self) -> None:
        self._hashes: dict[tuple[Path | None, str], str | None] = {}

    def sha256(self, folder: Path | None, name: str) -> str | None:
        """Hash of a file in a sketch's folder; None for what is not there."""
        if (folder, name) not in self._hashes:
            path = files_among([name], folder).get(name)
            content = None if path is None else file_hash(path)
            self._hashes[folder, name] = None if content is None else content.hex()
        return self._hashes[folder, name]


def sound_key(sketch: Sketch, take_sha256: str) -> str:
    """Key of one take through one sketch, in hexadecimal.

    Parameters
    ----------
    sketch : Sketch
        As it is to be rendered: a patch alone, in a room, with its chain in another order.
    take_sha256 : str
        As `take_hash` gives it.
    """
    return key_over(sketch_digest(sketch), take_sha256)


def sketch_digest(sketch: Sketch, files: NamedFiles | None = None) -> str:
    """Hash of what is heard of a sketch: what it is in memory, and the files that its blocks and controllers name.

    Its title, comments and [orders] do not count, nor does its house: what is kept is the feed.

    Parameters
    ----------
    sketch : Sketch
    files : NamedFiles, optional
        Shared by sketches whose files do not change between their digests.
    """
    files = NamedFiles() if files is None else files
    heard = [_plain(getattr(sketch, name)) for name in _HEARD]
    header = {name: value for name, value in sketch.header.model_dump().items() if name not in _UNHEARD}
    if sketch.cues:
        room = None if sketch.room is None else sketch.rooms.get(sketch.room)
        heard += map(_plain, (sketch.board, sketch.foot, None if room is None else room.left_out))
    named = {word: files.sha256(sketch.folder, word) for word in words_in(heard)}
    there = {word: sha256 for word, sha256 in named.items() if sha256 is not None}
    return _hash(json.dumps([heard, header, there], sort_keys=True))


def key_over(sketch_digest: str, take_sha256: str) -> str:
    """The key of a sketch whose digest is known, over one take."""
    return _hash(identity(), sketch_digest, take_sha256)


def trimmed_key(key: str, trim_db: float) -> str:
    """Key of a sound whose file is raised or lowered."""
    return _hash(key, f"trim_db {trim_db!r}")


def _hash(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()


def _plain(value: Any) -> Any:
    """Values that JSON spells in one way only; classes are named, since equal fields do not make equal things."""
    if isinstance(value, BaseModel):
        return [type(value).__name__, {name: _plain(getattr(value, name)) for name in type(value).model_fields}]
    if is_dataclass(value):
        return [type(value).__name__, {f.name: _plain(getattr(value, f.name)) for f in fields(value)}]
    if isinstance(value, Mapping):
        return [[_plain(key), _plain(value[key])] for key in sorted(value, key=repr)]
    if isinstance(value, frozenset):
        return [_plain(v) for v in sorted(value)]
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"{value!r:.60} of a sketch has no place in its key")
