"""The hash of a sketch: of its text, and of every file beside it that the text names."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from chainsim.block import Assets
from chainsim.errors import SettingError


def sketch_hash(text: str, folder: Path | None) -> str:
    """SHA-256, in hexadecimal; without files it is that of the text alone.

    Parameters
    ----------
    text : str
        The sketch as written.
    folder : Path or None
        Where the files that it names lie; what is not there, or cannot be read, counts as not named.
    """
    digest = hashlib.sha256(text.encode())
    for name, path in sorted(named_files(text, folder).items()):
        try:
            with path.open("rb") as file:
                content = hashlib.file_digest(file, "sha256").digest()
        except OSError:
            continue
        digest.update(b"\0" + name.encode() + b"\0" + content)
    return digest.hexdigest()


def named_files(text: str, folder: Path | None) -> dict[str, Path]:
    """Files in the sketch's folder that its text names, whatever for."""
    found = {}
    for words in _words(tomllib.loads(text)) if folder is not None else ():
        try:
            found[words] = Assets(folder).path(words)
        except (SettingError, OSError, ValueError):
            continue
    return found


def _words(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _words(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _words(inner)
