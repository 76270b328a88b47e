"""Units that stand side by side: a fork with a lane for each, in which the dry sound comes once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from chainsim.batch.orders.units import Unit
from chainsim.errors import SketchError
from chainsim.sketch.chain import BlenderStep, BlockStep, Lane, LanesStep, Step
from chainsim.sketch.model import BlockEntry, State
from chainsim.sketch.overriding import overridden

DRY = "dry_db"


def side_by_side(units: Sequence[Unit], state: State) -> tuple[LanesStep, dict[str, BlockEntry]]:
    """A fork of units, and those of the blocks that are set otherwise in it.

    What mixes dry sound gives that up to one straight lane, at the level and pan that it has with the first of them.

    Raises
    ------
    SketchError
        If a controller moves such a level.
    """
    lanes, straight, changed = [], [], {}
    for unit in units:
        step, dry = _without_straight_lanes(unit.step, state)
        if isinstance(step, BlockStep | BlenderStep) and DRY in type(state.blocks[step.name].settings).specs():
            level_db, changed[step.name] = _without_dry(state.blocks[step.name], state)
            dry = [Lane((), level_db)] if level_db != -math.inf else []
        lanes.append(Lane((step,)))
        straight += dry
    return LanesStep((*straight[:1], *lanes)), changed


def _without_dry(entry: BlockEntry, state: State) -> tuple[float, BlockEntry]:
    """How loud a block mixes dry sound, and the block without it."""
    if (entry.name, DRY) in state.drives:
        controller, _ = state.drives[entry.name, DRY]
        raise SketchError(
            f'side_by_side: "{controller}" drives {entry.name}.{DRY}; side by side its dry sound is given up'
        )
    level_db = float(getattr(entry.settings, DRY))
    if level_db == -math.inf:
        return level_db, entry
    faults: list[str] = []
    without = overridden(entry, {DRY: "off"}, f"blocks.{entry.name}", faults)
    if without is None:
        raise SketchError(faults)
    return level_db, without


def _without_straight_lanes(step: Step, state: State) -> tuple[Step, list[Lane]]:
    """A fork without its straight lanes, and what of these is heard: the loudest first."""
    if not isinstance(step, LanesStep):
        return step, []
    straight = [lane for lane in step.lanes if _is_straight(lane, state)]
    heard = [lane for lane in straight if lane.level_db != -math.inf]
    lanes = tuple(lane for lane in step.lanes if lane not in straight)
    return replace(step, lanes=lanes), sorted(heard, key=lambda lane: -lane.level_db)


def _is_straight(lane: Lane, state: State) -> bool:
    """Whether a lane lets the sound through as it is: nothing in it, or blocks that are not engaged and pass it on."""
    return all(
        isinstance(step, BlockStep | BlenderStep)
        and not state.blocks[step.name].common.engaged
        and (isinstance(step, BlenderStep) or state.blocks[step.name].passes)
        for step in lane.chain
    )
