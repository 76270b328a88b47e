"""Results as a table beside the audio: CSV for spreadsheets, JSON for programs; both whole or not at all.

The CSV is RFC 4180's, in UTF-8. A name that a spreadsheet would take for a formula gets an apostrophe before it, and
each row is one line, whatever the names hold; the JSON has them as they are.

Source: OWASP, "CSV Injection".
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from chainsim.audio.writing import write_text_whole
from chainsim.errors import printable
from chainsim.plain import json_text

Row = Mapping[str, Any]

DIGITS = 6
"""Of a figure in the CSV; the JSON has all of them."""

_FORMULAS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What formulas begin with, also in full width."""


def write_tables(folder: Path, name: str, rows: Sequence[Row], about: Row) -> None:
    """Write NAME.csv and NAME.json; a file that already says the same is left as it is.

    Parameters
    ----------
    folder : Path
    name : str
    rows : sequence of mappings
        Plain values by column, all with the same columns.
    about : mapping
        What the JSON says before its "rows".

    Raises
    ------
    AudioError
        If they cannot be written.
    """
    write_changed(folder / f"{name}.csv", csv_text(rows))
    write_changed(folder / f"{name}.json", json_text({**about, "rows": rows}) + "\n")


def csv_text(rows: Sequence[Row]) -> str:
    """Rows as CSV, with a head; empty for what is not there, and for numbers that are not finite."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")
    if rows:
        writer.writerow(map(_cell, rows[0]))
    for row in rows:
        writer.writerow(map(_cell, row.values()))
    return file.getvalue()


def _cell(value: Any) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.{DIGITS}g}"
    if isinstance(value, int):
        return str(value)
    text = printable("; ".join(map(str, value)) if isinstance(value, list | tuple) else str(value))
    return f"'{text}" if text.startswith(_FORMULAS) else text


def write_changed(path: Path, text: str) -> None:
    """Write a text file, unless it says the same already.

    Raises
    ------
    AudioError
        If it cannot be written.
    """
    content = text.encode("utf-8", "backslashreplace")  # a file's name may hold bytes that are no text
    with suppress(OSError):
        if path.read_bytes() == content:
            return
    write_text_whole(path, content.decode())
