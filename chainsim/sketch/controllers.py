"""Reading controllers and what they drive, in the sketch as written and in each patch."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, get_args

from chainsim.block import block_type
from chainsim.errors import figure, nearest
from chainsim.sketch.model import ControllerEntry, Drives, State
from chainsim.sketch.reading import read_settings
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.drives import CURVES, Curve, Drive

PARTS = ("type", "drives", "listens_to")
DRIVE_KEYS = ("setting", "low", "high", "curve")


def read_controllers(tables: Mapping[str, Any], base: State, faults: list[str]) -> dict[str, ControllerEntry]:
    """Read every controller and what it drives where a patch says nothing else."""
    entries = {}
    for name, table in tables.items():
        place = f"controllers.{name}"
        type_name = table.get("type")
        if not isinstance(type_name, str) or type_name not in CONTROLLER_TYPES:
            allowed = ", ".join(CONTROLLER_TYPES)
            faults.append(f"{place}.type = {type_name!r}, allowed {allowed}{nearest(str(type_name), CONTROLLER_TYPES)}")
            continue
        cls = CONTROLLER_TYPES[type_name]
        own = {k: v for k, v in table.items() if k not in PARTS}
        settings = read_settings(cls.settings_type, own, place, faults, also_known=PARTS)
        drives = _drives(table.get("drives", []), base, place, faults)
        heard = table.get("listens_to", "input" if cls.audio_inputs else None)
        if heard is not None and heard != "input" and (not isinstance(heard, str) or heard not in base.blocks):
            faults.append(f'{place}.listens_to: "{heard}" is not a block{nearest(str(heard), base.blocks)}')
        if settings is not None:
            heard = heard if isinstance(heard, str) else None
            entries[name] = ControllerEntry(name, type_name, settings, heard, drives)
    return entries


def read_patch_drives(
    tables: Mapping[str, Any],
    controllers: Mapping[str, ControllerEntry],
    base: State,
    place: str,
    faults: list[str],
) -> Drives:
    """What the controllers drive in a patch that may give some of them other work."""
    chosen = {name: entry.drives for name, entry in controllers.items()}
    for name, table in tables.items():
        where = f"{place}.controllers.{name}"
        if name not in controllers:
            faults.append(f'{where}: no controller "{name}"{nearest(name, controllers)}')
        elif set(table) != {"drives"}:
            faults.append(f"{where}: a patch says what a controller drives, and nothing else: drives = [...]")
        else:
            chosen[name] = _drives(table["drives"], base, where, faults)
    return drives_of(chosen, place, faults if tables else [])  # what the sketch itself says is told once


def drives_of(by_controller: Mapping[str, Iterable[Drive]], place: str, faults: list[str]) -> Drives:
    """Who drives what; a setting follows one controller only."""
    found: dict[tuple[str, str], tuple[str, Drive]] = {}
    for name, drives in by_controller.items():
        for drive in drives:
            key = (drive.block, drive.setting)
            if key in found:
                where = f"{place}.controllers.{name}" if place else f"controllers.{name}"
                fault = f'{where}: {drive.block}.{drive.setting} is already driven by "{found[key][0]}"'
                if fault not in faults:
                    faults.append(fault)
            found[key] = (name, drive)
    return found


def _drives(values: Any, base: State, place: str, faults: list[str]) -> tuple[Drive, ...]:
    if not isinstance(values, list) or not all(isinstance(v, dict) for v in values):
        faults.append(f'{place}.drives: allowed a list: [{{ setting = "BLOCK.SETTING", low = 0, high = 1 }}]')
        return ()
    found = (_drive(v, base, f"{place}.drives[{i}]", faults) for i, v in enumerate(values))
    return tuple(d for d in found if d is not None)


def _drive(value: Mapping[str, Any], base: State, place: str, faults: list[str]) -> Drive | None:
    for key in value:
        if key not in DRIVE_KEYS:
            faults.append(f'{place}: no entry "{key}"{nearest(key, DRIVE_KEYS)}')
    block, _, setting = str(value.get("setting", "")).partition(".")
    if block not in base.blocks:
        faults.append(f'{place}.setting: no block "{block}"{nearest(block, base.blocks)}')
        return None
    specs = block_type(base.blocks[block].type_name).settings_type.specs()
    movable = [n for n, s in specs.items() if s.movable]
    if setting not in movable:
        why = "is fixed and cannot be driven" if setting in specs else "is not a setting"
        faults.append(f'{place}.setting: "{setting}" {why}; movable here: {", ".join(movable) or "none"}')
        return None
    spec, ends = specs[setting], []
    for key, default in (("low", spec.low), ("high", spec.high)):
        end = value.get(key, default)
        if end == "off" and spec.may_be_off:
            end = -math.inf
        if isinstance(end, bool) or not isinstance(end, int | float):
            faults.append(f"{place}.{key} = {end!r}, allowed {spec.range_text()}")
            return None
        if not (end == -math.inf and spec.may_be_off) and not (spec.low or 0.0) <= end <= (spec.high or 0.0):
            faults.append(f"{place}.{key} = {figure(end)}, allowed {spec.range_text()}")
            return None
        ends.append(float(end))
    curve: Curve = value.get("curve", "linear")
    if curve not in get_args(Curve):
        faults.append(f"{place}.curve = {curve!r}, allowed {', '.join(CURVES)}")
        return None
    return Drive(block, setting, ends[0], ends[1], curve)
