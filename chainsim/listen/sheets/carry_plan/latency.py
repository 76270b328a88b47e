"""How late the sound comes through boxes: along the longest way, a box counts each time the sound enters it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from chainsim.listen.sheets.carry_plan.choice import Choice, is_outside
from chainsim.listen.sheets.carry_plan.forks import Fork, open_lanes
from chainsim.listen.sheets.carry_plan.inventory import Inventory
from chainsim.listen.sheets.carry_plan.wants import PatchWants
from chainsim.sketch.chain import BlockStep, Chain


@dataclass(frozen=True)
class Way:
    """A way through boxes: how late it is, in which box it ends, the blocks along it, and the boxes it enters."""

    ms: float = 0.0
    box: int | None = None
    blocks: tuple[str, ...] = ()
    entered: tuple[int, ...] = ()

    def through(self, box: int, ms: float, block: str | None = None) -> Way:
        """On into a box, or on inside it."""
        blocks = self.blocks if block is None else (*self.blocks, block)
        if box == self.box:
            return Way(self.ms, box, blocks, self.entered)
        return Way(self.ms + ms, box, blocks, (*self.entered, box))


def longest_way(choice: Choice, patch: PatchWants, inventory: Inventory) -> Way:
    """The way through a patch's boxes that is latest."""
    return _walk(patch.chain, Way(), choice, patch, inventory, iter(patch.forks))


def _walk(
    chain: Chain, way: Way, choice: Choice, patch: PatchWants, inventory: Inventory, forks: Iterator[Fork]
) -> Way:
    gear = inventory.gear
    for step in chain:
        if isinstance(step, BlockStep):
            box = choice.box_of[patch.jobs[step.name]]
            way = way.through(box, gear[box].latency_ms, step.name)
            continue
        lanes = open_lanes(step)
        fork = next(forks) if len(lanes) > 1 else None
        outside = fork is not None and is_outside(choice, patch, fork, inventory)
        if fork is not None and outside and fork.place in choice.splitter_of:
            splitter = choice.splitter_of[fork.place]
            way = way.through(splitter, gear[splitter].latency_ms)
        if fork is not None and not outside:  # all of it is inside one box, the straight sound too
            inside = next(iter(choice.boxes(patch, fork.blocks)))
            way = way.through(inside, gear[inside].latency_ms)
        ends = [_walk(lane, way, choice, patch, inventory, forks) for lane in lanes]
        way = max(ends, key=lambda end: end.ms)
        if fork is not None and outside and fork.place in choice.mixer_of:
            mixer = choice.mixer_of[fork.place]
            way = way.through(mixer, gear[mixer].latency_ms)
    return way
