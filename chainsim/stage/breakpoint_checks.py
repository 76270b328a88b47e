"""Which breakpoints are allowed, be they written in a sketch or in a file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

from chainsim.errors import SettingError
from chainsim.music.meter import parse_place

Point: TypeAlias = tuple[float | str, float]
"""Seconds or "BAR:BEAT", and position."""

LATEST_S = 1e6
LONGEST_PLACE = 40
"""A word that is none need not be repeated in full."""


def check_points(points: Sequence[Any], places: Sequence[str]) -> list[Point]:
    """Check points one after the other; `places` says of each where it stands.

    Raises
    ------
    SettingError
        If one is not a time and a position of 0 to 1, of another kind than the first, or not later than the one before.
    """
    checked: list[Point] = []
    before = (-1, 0.0)
    for point, place in zip(points, places, strict=True):
        if not isinstance(point, list | tuple) or len(point) != 2:
            raise SettingError(f"{place}: {point!r:.60}, allowed a time and a position")
        at, position = point
        moment = _moment(at, place)
        if checked and isinstance(at, str) != isinstance(checked[0][0], str):
            raise SettingError(f"{place}: {at!r:.60}, allowed times that are all in seconds or all in bars")
        if moment <= before:
            raise SettingError(f"{place}: {at!r}, allowed times that rise; the one before is {checked[-1][0]!r}")
        if not _is_number(position) or not 0.0 <= position <= 1.0:
            raise SettingError(f"{place}: position {position!r:.60}, allowed 0 ... 1")
        checked.append((at if isinstance(at, str) else float(at), float(position)))
        before = moment
    return checked


def _moment(at: Any, place: str) -> tuple[int, float]:
    """The order of a time among others of its kind: bar and beat, or seconds."""
    if isinstance(at, str) and at.isprintable() and len(at) <= LONGEST_PLACE:
        try:
            return parse_place(at)
        except SettingError as error:
            raise SettingError(f"{place}: {error}") from None
    if not _is_number(at) or not 0.0 <= at <= LATEST_S:
        raise SettingError(f'{place}: time {at!r:.60}, allowed seconds from 0 to {LATEST_S:g}, or a bar such as "3:1"')
    return 0, float(at)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
