"""What was chosen: which items are carried, which box makes which job, and what that asks of each box."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from chainsim.listen.sheets.carry_plan.forks import Fork
from chainsim.listen.sheets.carry_plan.inventory import Gear, Inventory
from chainsim.listen.sheets.carry_plan.wants import Job, PatchWants, Wants

Limit: TypeAlias = Literal[
    "at once", "programs", "lanes", "loops", "pedals", "outlets", "board", "height", "mass", "budget", "latency"
]
"""What can be in the way of a patch beside that nothing makes a block."""


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
        By job, which gear makes it.
    splitter_of, mixer_of : dict of int
        By the place of a fork that is made outside of a box, the gear that splits and that sums.
    passed_over : bool
        Whether others were put aside because no layout of theirs was found, though there may be one.
    """

    carried: tuple[int, ...]
    made: tuple[str, ...]
    box_of: Mapping[int, int]
    splitter_of: Mapping[tuple[object, ...], int]
    mixer_of: Mapping[tuple[object, ...], int]
    passed_over: bool = False

    def boxes(self, patch: PatchWants, blocks: Iterable[str]) -> frozenset[int]:
        """Which gear makes some blocks of a patch."""
        return frozenset(self.box_of[patch.jobs[name]] for name in blocks)

    def patches(self, wants: Wants) -> Iterator[PatchWants]:
        """The patches that are made."""
        return (patch for patch in wants.patches if patch.name in self.made)


Setting: TypeAlias = tuple[str, str, float | None]
"""What a box has to hold: a block, its setting, and the tempo unless it follows that by itself."""


def setting_of(job: Job, box: Gear) -> Setting:
    """What a box has to hold to make a job."""
    return job.block, job.setting, None if box.follows_tempo else job.tempo_bpm


def scenes(choice: Choice, wants: Wants, inventory: Inventory, gear: int) -> dict[str, frozenset[Setting]]:
    """What a box holds in each patch in which it works."""
    box = inventory.gear[gear]
    found = {}
    for patch in choice.patches(wants):
        held = frozenset(setting_of(wants.jobs[j], box) for j in patch.jobs.values() if choice.box_of[j] == gear)
        if held:
            found[patch.name] = held
    return found


def programs_needed(held: Iterable[frozenset[Setting]], at_once: int) -> int:
    """How many settings a box must recall: one if all it ever makes goes into it at one time.

    Otherwise one for each scene that is not a part of another; what a scene leaves out is switched off in it.
    """
    distinct = set(held)
    if len(frozenset().union(*distinct)) <= at_once:
        return 1
    return sum(not any(scene < other for other in distinct) for scene in distinct)


def is_outside(choice: Choice, patch: PatchWants, fork: Fork, inventory: Inventory) -> bool:
    """Whether a fork needs a splitter and a mixer: unless one box makes all of it, and the straight sound with it."""
    boxes = choice.boxes(patch, fork.blocks)
    return len(boxes) > 1 or (fork.dry and not all(inventory.gear[g].keeps_dry for g in boxes))
