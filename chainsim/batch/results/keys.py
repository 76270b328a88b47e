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
from typing import Any

from pydantic import BaseModel

from chainsim.kernel import source_hash
from chainsim.sketch.model import Sketch

_HEARD = ("header", "base", "patches", "controllers", "cues", "taps", "patch", "room")
"""What a sketch may have had chosen or changed in memory; all else stands in its text."""


@functools.cache
def identity() -> str:
    """Version and source hash of the running code, "VERSION+HASH": other code may render other sounds."""
    return f"{version('chainsim')}+{source_hash()[:16]}"


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


def sketch_digest(sketch: Sketch) -> str:
    """Hash of the text of a sketch, of the files that it names, and of what it became in memory."""
    heard = [_plain(getattr(sketch, name)) for name in _HEARD]
    return _hash(sketch.sha256, json.dumps(heard, sort_keys=True))


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
        return [[_plain(k), _plain(v)] for k, v in sorted(value.items())]
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"{value!r:.60} of a sketch has no place in its key")
