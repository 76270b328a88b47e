"""Breakpoints in files: CSV as spreadsheets write it, or TOML.

at_s,position            at_bar,position            points = [["1:1", 0.0], ["3:1", 0.5]]
0.0,0.0                  1:1,0.0
4.5,1.0                  3:1,0.5
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from chainsim.errors import SettingError
from chainsim.stage.breakpoint_checks import Point, check_points

MOST_BYTES = 1_000_000
SUFFIXES = (".csv", ".toml")

_HEADERS = (["at_s", "position"], ["at_bar", "position"])


def read_breakpoints(path: str | Path) -> list[Point]:
    """Read points from a file.

    Parameters
    ----------
    path : path
        A .csv or .toml file of up to 1 MB, in UTF-8.

    Returns
    -------
    list of (seconds or "BAR:BEAT", position 0 to 1)
        All of one kind, at rising times.

    Raises
    ------
    SettingError
        If it cannot be read or a point is not one; the message names the line, or the point, where that is.
    """
    path = Path(path)
    text = _text(path)
    points, places = _csv_points(path, text) if path.suffix.lower() == ".csv" else _toml_points(path, text)
    return check_points(points, [f"{path}: {place}" for place in places])


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise SettingError(f"{path}: cannot be read: {error.strerror or error}") from error
    if len(content) > MOST_BYTES:
        raise SettingError(f"{path}: over {MOST_BYTES / 1e6:g} MB, too large for breakpoints")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SettingError(f"{path}: not a text file in UTF-8") from None


def _csv_points(path: Path, text: str) -> tuple[list[Any], list[str]]:
    """Points, times as words where they are bars, and the line of each."""
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    header: list[str] | None = None
    points: list[Any] = []
    places: list[str] = []
    try:
        for row in lines:
            cells, place = [cell.strip() for cell in row], f"line {lines.line_num}"
            if not any(cells):
                continue
            if header is None:
                if cells not in _HEADERS:
                    allowed = " or ".join(",".join(h) for h in _HEADERS)
                    raise SettingError(f'{path}: {place}: "{_short(cells)}", allowed as the first line {allowed}')
                header = cells
                continue
            if len(cells) != len(header):
                raise SettingError(f'{path}: {place}: "{_short(cells)}", allowed two values: {",".join(header)}')
            at = cells[0] if header[0] == "at_bar" else _number(cells[0], f"{path}: {place}")
            points.append((at, _number(cells[1], f"{path}: {place}")))
            places.append(place)
    except csv.Error as error:
        raise SettingError(f"{path}: line {lines.line_num}: {error}") from None
    if not points:
        raise SettingError(f"{path}: holds no points")
    return points, places


def _number(cell: str, place: str) -> float:
    try:
        return float(cell)
    except ValueError:
        raise SettingError(f'{place}: "{_short([cell])}", allowed a number, with a point for its decimals') from None


def _short(cells: Sequence[str]) -> str:
    """What to show of a line: its beginning, without characters that move a terminal's cursor."""
    text = repr(",".join(cells))[1:-1]
    return text if len(text) <= 60 else f"{text[:60]}..."


def _toml_points(path: Path, text: str) -> tuple[list[Any], list[str]]:
    try:
        values = tomllib.loads(text)
    except ValueError as error:  # of a number with thousands of digits, too
        raise SettingError(f"{path}: not valid TOML: {error}".splitlines()[0]) from None
    except RecursionError:
        raise SettingError(f"{path}: nested too deep to be read") from None
    points = values.get("points")
    if set(values) != {"points"} or not isinstance(points, list) or not points:
        raise SettingError(f"{path}: allowed points = [[SECONDS, POSITION], ...] or [[BAR, POSITION], ...], no more")
    return points, [f"points[{k}]" for k in range(len(points))]
