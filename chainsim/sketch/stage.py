"""Reading what a sketch says of the stage: patches, cues, controllers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, get_args

from chainsim.block import block_type
from chainsim.errors import nearest
from chainsim.settings import Settings, fixed
from chainsim.sketch.chain import Chain, block_names, parse_chain
from chainsim.sketch.key import read_key
from chainsim.sketch.model import BlockEntry, ControllerEntry, Cue, Header, State
from chainsim.sketch.reading import read_block, read_settings, table_of, with_defaults
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.drives import CURVES, Curve, Drive

PATCH_KEYS = ("chain", "engage", "tempo_bpm", "key", "blocks")


class _PatchNumbers(Settings):
    tempo_bpm: float = fixed(120.0, 20.0, 400.0, "bpm", "tempo from this patch on")


def read_patches(
    tables: Mapping[str, Any], base: State, header: Header, declared: set[str], faults: list[str]
) -> dict[str, State]:
    """Resolve every patch against the sketch as written."""
    return {name: _patch(table, base, header, declared, f"patches.{name}", faults) for name, table in tables.items()}


def _patch(
    table: Mapping[str, Any], base: State, header: Header, declared: set[str], place: str, faults: list[str]
) -> State:
    for key in table:
        if key not in PATCH_KEYS:
            faults.append(f'{place}: no entry "{key}"{nearest(key, PATCH_KEYS)}')
    chain: Chain = base.chain
    if "chain" in table:
        chain = parse_chain(table["chain"], f"{place}.chain", faults)
    blocks = with_defaults(chain, base.blocks, declared, f"{place}.chain", faults)
    for name, changes in table_of(table, "blocks", faults).items():
        if name not in base.blocks:
            faults.append(f'{place}.blocks.{name}: no block "{name}"{nearest(name, base.blocks)}')
            continue
        entry = _overridden(base.blocks[name], changes, f"{place}.blocks.{name}", faults)
        if entry is not None:
            blocks[name] = entry
    engage = table.get("engage")
    if engage is not None:
        blocks = _engaged(engage, chain, blocks, place, faults)
    numbers = read_settings(_PatchNumbers, {"tempo_bpm": table.get("tempo_bpm", base.tempo_bpm)}, place, faults)
    harmony = read_key(table["key"], header, f"{place}.key", faults) if "key" in table else base.key
    return State(chain, blocks, numbers.tempo_bpm if numbers else base.tempo_bpm, harmony, base.a4_hz)


def _overridden(entry: BlockEntry, changes: Mapping[str, Any], place: str, faults: list[str]) -> BlockEntry | None:
    if "type" in changes:
        faults.append(f"{place}.type: a patch cannot change a block's type; declare another block")
        return None
    replaced = {n for group in entry.settings.alternatives if set(group) & set(changes) for n in group}
    written = {**entry.settings.model_dump(exclude_unset=True), **entry.common.model_dump(exclude_unset=True)}
    written = {k: v for k, v in written.items() if k not in replaced}
    silent = {k: "off" if v == -math.inf else v for k, v in written.items()}
    return read_block(entry.name, {**silent, **changes, "type": entry.type_name}, place, faults)


def _engaged(
    engage: Any, chain: Chain, blocks: dict[str, BlockEntry], place: str, faults: list[str]
) -> dict[str, BlockEntry]:
    names = list(block_names(chain))
    if not isinstance(engage, list) or not all(isinstance(n, str) for n in engage):
        faults.append(f"{place}.engage: allowed a list of names of blocks in the chain")
        return blocks
    for name in engage:
        if name not in names:
            faults.append(f'{place}.engage: "{name}" is not in the chain{nearest(name, names)}')
    return {
        n: replace(b, common=b.common.model_copy(update={"engaged": n in engage})) if n in names else b
        for n, b in blocks.items()
    }


def read_cues(
    values: Any, patches: Mapping[str, State], tables: Mapping[str, Any], faults: list[str]
) -> tuple[Cue, ...]:
    """Read the list of cues, sorted by time."""
    if not isinstance(values, list) or not all(isinstance(v, dict) for v in values):
        faults.append("cues: allowed a list of tables: [[cues]]")
        return ()
    cues = []
    for i, value in enumerate(values):
        at_s, patch = value.get("at_s"), value.get("patch")
        for key in value:
            if key not in ("at_s", "patch"):
                faults.append(f'cues[{i}]: no entry "{key}"{nearest(key, ("at_s", "patch"))}')
        if isinstance(at_s, bool) or not isinstance(at_s, int | float) or not 0.0 <= at_s < 1e6:
            faults.append(f"cues[{i}].at_s = {at_s!r}, allowed a time of 0 s or later")
        elif not isinstance(patch, str) or patch not in tables:
            faults.append(f'cues[{i}].patch: no patch "{patch}"{nearest(str(patch), tables)}')
        else:
            cues.append(Cue(float(at_s), str(patch)))
    return tuple(sorted(cues, key=lambda cue: cue.at_s))


def read_controllers(tables: Mapping[str, Any], base: State, faults: list[str]) -> dict[str, ControllerEntry]:
    """Read every controller and what it drives."""
    entries = {}
    taken: dict[tuple[str, str], str] = {}
    for name, table in tables.items():
        place = f"controllers.{name}"
        type_name = table.get("type")
        if not isinstance(type_name, str) or type_name not in CONTROLLER_TYPES:
            allowed = ", ".join(CONTROLLER_TYPES)
            faults.append(f"{place}.type = {type_name!r}, allowed {allowed}{nearest(str(type_name), CONTROLLER_TYPES)}")
            continue
        cls = CONTROLLER_TYPES[type_name]
        own = {k: v for k, v in table.items() if k not in ("type", "drives", "listens_to")}
        settings = read_settings(cls.settings_type, own, place, faults, also_known=("type", "drives", "listens_to"))
        drives = _drives(table.get("drives", []), base, place, faults)
        for drive in drives:
            if (drive.block, drive.setting) in taken:
                other = taken[drive.block, drive.setting]
                faults.append(f'{place}: {drive.block}.{drive.setting} is already driven by "{other}"')
            taken[drive.block, drive.setting] = name
        heard = table.get("listens_to", "input" if cls.audio_inputs else None)
        if heard is not None and heard != "input" and (not isinstance(heard, str) or heard not in base.blocks):
            faults.append(f'{place}.listens_to: "{heard}" is not a block{nearest(str(heard), base.blocks)}')
        if settings is not None:
            heard = heard if isinstance(heard, str) else None
            entries[name] = ControllerEntry(name, type_name, settings, heard, drives)
    return entries


def _drives(values: Any, base: State, place: str, faults: list[str]) -> tuple[Drive, ...]:
    if not isinstance(values, list) or not all(isinstance(v, dict) for v in values):
        faults.append(f'{place}.drives: allowed a list: [{{ setting = "BLOCK.SETTING", low = 0, high = 1 }}]')
        return ()
    found = (_drive(v, base, f"{place}.drives[{i}]", faults) for i, v in enumerate(values))
    return tuple(d for d in found if d is not None)


def _drive(value: Mapping[str, Any], base: State, place: str, faults: list[str]) -> Drive | None:
    for key in value:
        if key not in ("setting", "low", "high", "curve"):
            faults.append(f'{place}: no entry "{key}"{nearest(key, ("setting", "low", "high", "curve"))}')
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
            faults.append(f"{place}.{key} = {end:g}, allowed {spec.range_text()}")
            return None
        ends.append(float(end))
    curve: Curve = value.get("curve", "linear")
    if curve not in get_args(Curve):
        faults.append(f"{place}.curve = {curve!r}, allowed {', '.join(CURVES)}")
        return None
    return Drive(block, setting, ends[0], ends[1], curve)
