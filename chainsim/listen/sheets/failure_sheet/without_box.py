"""A state of a sketch in which one box has failed."""

from __future__ import annotations

import math
from dataclasses import replace

from chainsim.block import block_type
from chainsim.listen.sheets.wiring_sheet.links import is_wire
from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, LanesStep, block_names
from chainsim.sketch.model import BlockEntry, State

MIXES = "blender"
"""The kind of block that has two levels, each of a path of its own."""
_PULLED = "a pulled cable"
"""No block can have this name."""


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


def lane_pulled(state: State, box: str) -> State:
    """The box gives nothing, and the innermost lane that it stands in is unplugged at its end, on or off."""
    gone = dead(state, box)
    nothing = silenced(replace(state.blocks[box], name=_PULLED)) if box in state.blocks else None
    chain = _unplugged(state.chain, box)
    if nothing is None or chain == state.chain:
        return gone
    return replace(gone, chain=chain, blocks={**gone.blocks, _PULLED: nothing})


def _unplugged(chain: Chain, box: str) -> Chain:
    steps = []
    for step in chain:
        if isinstance(step, LanesStep):
            end = _unplugged if is_wire(step) else _cut
            step = replace(step, lanes=tuple(replace(lane, chain=end(lane.chain, box)) for lane in step.lanes))
        elif isinstance(step, BlenderStep):
            step = replace(step, wet=_cut(step.wet, box))
        steps.append(step)
    return tuple(steps)


def _cut(lane: Chain, box: str) -> Chain:
    if box not in set(block_names(lane)):
        return lane
    inside = _unplugged(lane, box)
    return inside if inside != lane else (*lane, BlockStep(_PULLED))


def silenced(entry: BlockEntry) -> BlockEntry:
    """What stands for a dead box: it is there, and gives nothing."""
    kind, settings = ("gain", {"gain_db": -math.inf})
    if entry.type_name == MIXES:
        kind, settings = MIXES, {"dry_db": -math.inf, "wet_db": -math.inf}
    return BlockEntry(entry.name, kind, block_type(kind).settings_type.model_validate(settings))


def gives_nothing(entry: BlockEntry, state: State) -> bool:
    """Whether its levels are off, and no controller moves them."""
    levels = {"gain": ("gain_db",), MIXES: ("dry_db", "wet_db")}.get(entry.type_name, ())
    return bool(levels) and all(
        getattr(entry.settings, name) == -math.inf and (entry.name, name) not in state.drives for name in levels
    )


def _with(state: State, entry: BlockEntry) -> State:
    drives = {target: drive for target, drive in state.drives.items() if target[0] != entry.name}
    return replace(state, blocks={**state.blocks, entry.name: entry}, drives=drives)
