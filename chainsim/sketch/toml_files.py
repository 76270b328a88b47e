"""TOML files that users write: their text, and its plain values, or one line that says what is wrong with them."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from chainsim.errors import SketchError

MAX_BYTES = 1_000_000


def read_text(path: Path, what: str, hint: str = "") -> str:
    """Text of a file; `what` it is meant to be, and a hint for who named a file that is no text at all.

    Raises
    ------
    SketchError
        If it cannot be read, is too large or not UTF-8.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise SketchError(f"{path}: {path.stat().st_size} bytes, {what} has at most {MAX_BYTES}")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise SketchError(f"{path}: not a text file in UTF-8{hint}") from None
    except OSError as error:
        raise SketchError(f"{path}: cannot be read: {error.strerror or error}") from None


def toml_values(text: str, name: str, several: str) -> dict[str, Any]:
    """Plain values of TOML; `several` names the tables that may come more than once, for who wrote them as one.

    Raises
    ------
    SketchError
        If it is no valid TOML; with what a musician may have meant.
    """
    try:
        return tomllib.loads(text)
    except ValueError as error:  # of a number with thousands of digits, too
        raise SketchError(f"{name}: not valid TOML: {error}{_hint(str(error), several)}") from None
    except RecursionError:
        raise SketchError(f"{name}: nested too deep to be read") from None


def _hint(message: str, several: str) -> str:
    if message.startswith(("Invalid value", "Expected newline")):
        return "; numbers have a decimal point and no unit, words stand in quotes"
    if message.startswith("Unclosed array"):
        return "; is there a comma between all entries, and a ] at the end?"
    if message.startswith(("Cannot declare", "Cannot mutate", "Cannot overwrite")):
        return f"; of a table that comes several times each is written {several}"
    if message.startswith("Expected ']'"):
        return '; a name with spaces stands in quotes: [patches."slow end"]'
    return ""
