"""A state of a sketch in which one box has failed."""

from __future__ import annotations

import math
from dataclasses import replace

from chainsim.block import block_type
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import BlockEntry, State

_MIXES = "blender"


def dead(state: State, box: str) -> State:
    """The box gives nothing. One that is off in this state is out of the way; one that is not in it, too."""
    entry = state.blocks.get(box)
    if entry is None or box not in set(block_names(state.chain)) or not entry.common.engaged:
        return state
    return _with(state, silenced(entry))


def dead_when_off(state: State, box: str) -> State:
    """The box gives nothing, and as its bypass needs its supply, nothing when it is off either."""
    if box not in set(block_names(state.chain)):
        return state
    return _with(state, silenced(state.blocks[box]))


def patched_round(state: State, box: str) -> State:
    """A cable goes round the box: what would come in goes on as it is."""
    if box not in set(block_names(state.chain)):
        return state
    entry = state.blocks[box]
    common = entry.common.model_copy(update={"engaged": False, "when_off": "pass"})
    return _with(state, replace(entry, common=common))


def silenced(entry: BlockEntry) -> BlockEntry:
    """What stands for a dead box: it is there, and gives nothing."""
    kind, settings = ("gain", {"gain_db": -math.inf})
    if entry.type_name == _MIXES:
        kind, settings = _MIXES, {"dry_db": -math.inf, "wet_db": -math.inf}
    return BlockEntry(entry.name, kind, block_type(kind).settings_type.model_validate(settings))


def gives_nothing(entry: BlockEntry, state: State) -> bool:
    """Whether its levels are off, and no controller moves them."""
    levels = {"gain": ("gain_db",), _MIXES: ("dry_db", "wet_db")}.get(entry.type_name, ())
    return bool(levels) and all(
        getattr(entry.settings, name) == -math.inf and (entry.name, name) not in state.drives for name in levels
    )


def _with(state: State, entry: BlockEntry) -> State:
    drives = {target: drive for target, drive in state.drives.items() if target[0] != entry.name}
    return replace(state, blocks={**state.blocks, entry.name: entry}, drives=drives)
