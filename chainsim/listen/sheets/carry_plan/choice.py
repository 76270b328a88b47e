"""What was chosen: which items are carried, which box makes which job, and what that asks of each box."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from chainsim.listen.sheets.carry_plan.forks import Fork
from chainsim.listen.sheets.carry_plan.inventory import Inventory, Measure
from chainsim.listen.sheets.carry_plan.wants import PatchWants, Wants

Limit: TypeAlias = Literal[
    "at once", "programs", "lanes", "loops", "pedals", "outlets", "board", "height", "mass", "budget", "latency"
]
"""What can be in the way of a patch beside that nothing makes a block."""


@dataclass(frozen=True)
class Unsettled:
    """Of which measure a smaller figure may be found still, and the least that is not ruled out."""

    measure: Measure
    found: float
    least: float


@dataclass(frozen=True)
class Choice:
    """A way to make some patches.

    Attributes
    ----------
    carried : tuple of int
        Items of the inventory.
    made : tuple of str
        Patches.
    box_of : dict of int
        By job, which gear makes it. A block may be made by one box in one patch and by another in another.
    splitter_of, mixer_of : dict of int
        By the place of a fork that is made outside of a box, the gear that splits and that sums.
    passed_over : bool
        Whether others were put aside because no layout of theirs was found, though there may be one.
    unsettled : Unsettled or None
        What was not settled when the time was up.
    """

    carried: tuple[int, ...]
    made: tuple[str, ...]
    box_of: Mapping[int, int]
    splitter_of: Mapping[tuple[object, ...], int]
    mixer_of: Mapping[tuple[object, ...], int]
    passed_over: bool = False
    unsettled: Unsettled | None = None

    def boxes(self, patch: PatchWants, blocks: Iterable[str]) -> frozenset[int]:
        """Which gear makes some blocks of a patch."""
        return frozenset(self.box_of[patch.jobs[name]] for name in blocks)

    def patches(self, wants: Wants) -> Iterator[PatchWants]:
        """The patches that are made."""
        return (patch for patch in wants.patches if patch.name in self.made)


def is_outside(choice: Choice, patch: PatchWants, fork: Fork, inventory: Inventory) -> bool:
    """Whether a fork needs a splitter and a mixer: unless one box makes all of it, and the straight sound with it."""
    boxes = choice.boxes(patch, fork.blocks)
    return len(boxes) > 1 or (fork.dry and not all(inventory.gear[g].keeps_dry for g in boxes))
