"""The hash of a sketch: of its text, and of every file beside it that the text names."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator
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
        content = file_hash(path)
        if content is not None:
            digest.update(b"\0" + name.encode() + b"\0" + content)
    return digest.hexdigest()


def named_files(text: str, folder: Path | None) -> dict[str, Path]:
    """Files in the sketch's folder that its text names, whatever for."""
    return files_among(words_in(tomllib.loads(text)), folder) if folder is not None else {}


def files_among(words: Iterable[str], folder: Path | None) -> dict[str, Path]:
    """Those of some words that name files in a sketch's folder."""
    found = {}
    for name in dict.fromkeys(words):
        try:
            found[name] = Assets(folder).path(name)
        except (SettingError, OSError, ValueError):
            continue
    return found


def file_hash(path: Path) -> bytes | None:
    """SHA-256 of a file; None if it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").digest()
    except OSError:
        return None


def words_in(value: Any) -> Iterator[str]:
    """Every text that stands anywhere in plain values."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from words_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from words_in(inner)
