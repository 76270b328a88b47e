"""A blender's dry or wet path behind its level, which only a probe hears: the blender itself weighs as it sums."""

from __future__ import annotations

from dataclasses import replace

from chainsim.block import block_type
from chainsim.sketch.model import BlockEntry, State
from chainsim.sketch.wire_names import Leg, leg_name


def with_leg(state: State, blender: str, leg: Leg) -> State:
    """A state that has a gain beside a blender, with its level, in the hands of whatever moves that."""
    entry, name, level = state.blocks[blender], leg_name(blender, leg), f"{leg}_db"
    gain = block_type("gain").settings_type.model_validate({"gain_db": getattr(entry.settings, level)})
    common = entry.common.model_copy(update={"latency_ms": 0.0, "listens_to": None})
    drives = dict(state.drives)
    if (blender, level) in drives:
        controller, drive = drives[blender, level]
        drives[name, "gain_db"] = (controller, replace(drive, block=name, setting="gain_db"))
    return replace(state, blocks={**state.blocks, name: BlockEntry(name, "gain", gain, common)}, drives=drives)
