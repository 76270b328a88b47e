"""TOML files that users write: their text, and its plain values, or one line that says what is wrong with them."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from chainsim.errors import SketchError

MAX_BYTES = 1_000_000
RECORDING = re.compile(rb"RIFF|RIFX|RF64|FORM|fLaC|OggS|ID3|caff|....ftyp|\xff[\xf2\xf3\xfa\xfb]", re.DOTALL)
"""How files of sound begin: WAV, AIFF, FLAC, OGG, MP3 with and without tags, and what phones record."""
CURLY = "\u201c\u201d\u201e\u2018\u2019\u201a\u00ab\u00bb"
"""Quotes that only prose has."""


def read_text(path: Path, what: str, hint: str = "") -> str:
    """Text of a file; `what` it is meant to be, and a hint for who named a recording.

    Raises
    ------
    SketchError
        If it cannot be read, is too large or not UTF-8.
    """
    try:
        size = path.stat().st_size
        if size <= MAX_BYTES:
            return path.read_text(encoding="utf-8-sig")
        fault = f"{size} bytes, {what} has at most {MAX_BYTES}"
    except UnicodeDecodeError:
        fault = "not a text file in UTF-8"
    except OSError as error:
        raise SketchError(f"{path}: cannot be read: {error.strerror or error}") from None
    with path.open("rb") as file:
        recording = RECORDING.match(file.read(8))
    raise SketchError(f"{path}: {fault if recording is None else f'this is a recording, not {what}{hint}'}")


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
        raise SketchError(f"{name}: not valid TOML: {_told(str(error), text, several)}") from None
    except RecursionError:
        raise SketchError(f"{name}: nested too deep to be read") from None


def _told(message: str, text: str, several: str) -> str:
    """What the reader of TOML says, and what may have been meant."""
    unclosed = message.startswith(("Illegal character '\\n'", "Unterminated string", 'Expected "\'"'))
    at = re.search(r"\(at line (\d+), column (\d+)\)", message)
    lines = text.split("\n")
    if at is not None and int(at[1]) <= len(lines):
        line, column = lines[int(at[1]) - 1], int(at[2])
        # What is never closed runs to the end of its line: a curly quote after the last straight one was to close it.
        there = re.split("[\"']", line)[-1] if unclosed else line[column - 1 : column]
        curly = re.search(rf"[{CURLY}](?!\w)" if unclosed else f"[{CURLY}]", there)
        if curly is not None:
            found = f"line {at[1]} has a curly quote, {curly[0]}"
            return f'{found}, as phones and word processors write it; a straight one is "'
    endless = message.startswith(("Unterminated string", "Expected \"'''\""))
    if endless and any(text.count(3 * quote) % 2 for quote in "\"'"):
        return "a text that three quotes open has no three quotes at its end"
    if unclosed:
        return f"{f'line {at[1]}' if at else 'a word'} has no closing quote; a word in quotes ends where its line ends"
    return f"{message}{_hint(message, several)}"


def _hint(message: str, several: str) -> str:
    if message.startswith(("Invalid value", "Expected newline")):
        return "; numbers have a decimal point and no unit, words stand in quotes"
    if message.startswith("Unclosed array"):
        return "; is there a comma between all entries, a quote at both ends of each word, and a ] at the end?"
    if message.startswith(("Cannot declare", "Cannot mutate", "Cannot overwrite")):
        return f"; of a table that comes several times each is written {several}"
    if message.startswith("Expected ']'"):
        return '; a name with spaces stands in quotes: [patches."slow end"]'
    return ""
