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

    What mixes dry sound gives that up to one straight lane, at the level that the first of them has.

    Raises
    ------
    SketchError
        If a controller moves such a level.
    """
    lanes, levels_db, changed = [], [], {}
    for unit in units:
        step, level_db = _without_straight_lane(unit.step)
        if isinstance(step, BlockStep | BlenderStep) and DRY in type(state.blocks[step.name].settings).specs():
            level_db, changed[step.name] = _without_dry(state.blocks[step.name], state)
        lanes.append(Lane((step,)))
        levels_db.append(level_db)
    straight = [Lane((), level_db) for level_db in levels_db if level_db != -math.inf]
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


def _without_straight_lane(step: Step) -> tuple[Step, float]:
    """A fork without its straight lane, and how loud that was."""
    if not isinstance(step, LanesStep):
        return step, -math.inf
    straight = [lane.level_db for lane in step.lanes if not lane.chain]
    return replace(step, lanes=tuple(lane for lane in step.lanes if lane.chain)), max(straight, default=-math.inf)
