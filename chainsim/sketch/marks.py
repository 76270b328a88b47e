"""Reading marks: how settings are marked on the knobs of the player's own devices."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from chainsim.block import block_type
from chainsim.errors import nearest
from chainsim.settings import Spec
from chainsim.sketch.model import Marks, State

KEYS = ("knob", "at")
LARGEST = 1e9
"""Of values and marks; a mark that is not a finite number is none."""


def read_marks(tables: Mapping[str, Any], base: State, faults: list[str]) -> dict[tuple[str, str], Marks]:
    """Read `[marks.BLOCK.SETTING]`."""
    found = {}
    for block, settings in tables.items():
        if block not in base.blocks:
            faults.append(f'marks.{block}: no block "{block}"{nearest(block, base.blocks)}')
            continue
        specs = block_type(base.blocks[block].type_name).settings_type.specs()
        for setting, table in settings.items():
            place = f"marks.{block}.{setting}"
            if setting not in specs:
                faults.append(f'{place}: no setting "{setting}"{nearest(setting, specs)}')
            elif (marks := _marks(table, specs[setting], place, faults)) is not None:
                found[block, setting] = marks
    return found


def _marks(table: Any, spec: Spec, place: str, faults: list[str]) -> Marks | None:
    if not isinstance(table, dict) or set(table) != set(KEYS):
        faults.append(f'{place}: allowed knob = "NAME" and at = [[value, mark], ...]')
        return None
    knob, points = table["knob"], table["at"]
    if not isinstance(knob, str):
        faults.append(f"{place}.knob = {knob!r:.40}, allowed what the device calls it, in quotes")
        return None
    if not isinstance(points, list) or not points or not all(_is_point(p) for p in points):
        faults.append(f"{place}.at: allowed pairs of a value of the setting and its mark: [[0.5, 2], [2.0, 7]]")
        return None
    values = [p[0] for p in points]
    if spec.low is None:
        unknown = [v for v in values if spec.choices and v not in spec.choices]
        faults += [f"{place}.at: no value {v!r}, allowed {spec.range_text()}" for v in unknown]
    elif any(isinstance(v, str) for v in values) or any(a >= b for a, b in pairwise(values)):
        faults.append(f"{place}.at: the values are numbers, each greater than the one before")
        return None
    if spec.low is not None and spec.high is not None and not spec.low <= min(values) <= max(values) <= spec.high:
        faults.append(f"{place}.at: values {min(values):g} ... {max(values):g}, allowed {spec.range_text()}")
        return None
    return Marks(knob, tuple((_plain(v), _plain(m)) for v, m in points))


def _is_point(point: Any) -> bool:
    return isinstance(point, list) and len(point) == 2 and all(isinstance(v, str) or _is_number(v) for v in point)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < LARGEST


def _plain(value: str | float) -> str | float:
    return value if isinstance(value, str) else float(value)
