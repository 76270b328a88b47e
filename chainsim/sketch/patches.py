"""Reading patches: named states of a sketch, each resolved against the sketch as written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from chainsim.errors import nearest
from chainsim.settings import Settings, fixed, whole, words
from chainsim.sketch.chain import Chain, block_names, parse_chain
from chainsim.sketch.controllers import read_patch_drives
from chainsim.sketch.fork_numbers import numbered
from chainsim.sketch.general_settings import Header
from chainsim.sketch.key import read_key
from chainsim.sketch.model import BlockEntry, ControllerEntry, Patch, State
from chainsim.sketch.overriding import not_there, overridden
from chainsim.sketch.reading import read_settings, table_of, with_defaults


class PatchSettings(Settings):
    """What a patch says beside its chain, blocks and controllers."""

    tempo_bpm: float | None = fixed(None, 20.0, 400.0, "bpm", "tempo that this patch brings")
    key: str | None = words(None, "key of this patch")
    a4_hz: float | None = fixed(None, 380.0, 480.0, "Hz", "tuning of this patch: frequency of A4")
    trim_db: float | None = fixed(None, -30.0, 30.0, "dB", "gain of what comes out of this patch")
    midi_program: int | None = whole(None, 0, 127, "program change that calls this patch, counted from 0")
    midi_bank: int = whole(0, 0, 16_383, "bank select that goes before it: 128 x controller 0 + controller 32")


PATCH_PARTS = ("chain", "engage", "blocks", "controllers")


def read_patches(
    tables: Mapping[str, Any],
    base: State,
    header: Header,
    controllers: Mapping[str, ControllerEntry],
    declared: set[str],
    faults: list[str],
) -> dict[str, Patch]:
    """Resolve every patch against the sketch as written."""
    patches: dict[str, Patch] = {}
    called: dict[tuple[int, int], str] = {}
    for name, table in tables.items():
        place = f"patches.{name}"
        patch = _patch(table, base, patches, header, controllers, declared, place, faults)
        patches[name] = patch
        if patch.midi_program is not None:
            other = called.setdefault((patch.midi_bank, patch.midi_program), name)
            if other != name:
                number = f"program {patch.midi_program} of bank {patch.midi_bank}"
                faults.append(f'{place}.midi_program: {number} calls the patch "{other}" already')
    return patches


def _patch(
    table: Mapping[str, Any],
    base: State,
    others: Mapping[str, Patch],
    header: Header,
    controllers: Mapping[str, ControllerEntry],
    declared: set[str],
    place: str,
    faults: list[str],
) -> Patch:
    numbers = {k: v for k, v in table.items() if k not in PATCH_PARTS}
    read = read_settings(PatchSettings, numbers, place, faults, also_known=PATCH_PARTS)
    says = read or PatchSettings()
    chain: Chain = base.chain
    if "chain" in table:
        before = (base.chain, *(other.state.chain for other in others.values()))
        chain = numbered(parse_chain(table["chain"], f"{place}.chain", faults), before)
    blocks = with_defaults(chain, base.blocks, declared, f"{place}.chain", faults)
    blocks = _changed(table_of(table, "blocks", faults, within=place), chain, blocks, place, faults)
    if "engage" in table:
        blocks = _engaged(table["engage"], chain, blocks, place, faults)
    _check_switching(chain, blocks, base, place, faults)
    harmony = base.key if says.key is None else read_key(says.key, header, f"{place}.key", faults)
    drives = read_patch_drives(table_of(table, "controllers", faults, within=place), controllers, base, place, faults)
    bpm = base.tempo_bpm if says.tempo_bpm is None else says.tempo_bpm
    a4_hz = base.a4_hz if says.a4_hz is None else says.a4_hz
    trim_db = base.trim_db if says.trim_db is None else says.trim_db
    state = State(chain, blocks, bpm, harmony, a4_hz, drives, trim_db=trim_db)
    return Patch(state, says.tempo_bpm is not None, says.midi_program, says.midi_bank)


def _changed(
    tables: Mapping[str, Any], chain: Chain, blocks: dict[str, BlockEntry], place: str, faults: list[str]
) -> dict[str, BlockEntry]:
    in_chain = list(block_names(chain))
    found = dict(blocks)
    for name, changes in tables.items():
        where = f"{place}.blocks.{name}"
        if name not in in_chain or name not in blocks:
            faults.append(not_there(name, where, in_chain, blocks))
            continue
        entry = overridden(blocks[name], changes, where, faults)
        if entry is not None:
            found[name] = entry
    return found


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
        elif name in blocks and blocks[name].common.switching == "free_standing":
            faults.append(f'{place}.engage: "{name}" is free-standing: its own switch engages it, whatever the patch')
    return {
        n: replace(b, common=b.common.model_copy(update={"engaged": n in engage}))
        if n in names and b.common.switching == "by_patch"
        else b
        for n, b in blocks.items()
    }


def _check_switching(
    chain: Chain, blocks: Mapping[str, BlockEntry], base: State, place: str, faults: list[str]
) -> None:
    """What is always on stays, and what stands free is not the patch's to switch."""
    in_chain = set(block_names(chain))
    for name, entry in blocks.items():
        written = base.blocks.get(name, entry)
        if entry.common.switching == "always_on" and name in set(block_names(base.chain)) - in_chain:
            faults.append(f'{place}.chain: "{name}" is always on, but not in this chain')
        if entry.common.switching != "by_patch" and entry.common.engaged != written.common.engaged:
            kind = entry.common.switching.replace("_", " ")
            faults.append(f"{place}.blocks.{name}.engaged: a block that is {kind} is not engaged by patches")
