"""What a box holds in each patch: blocks at their settings, and how they lie inside it; how much it must recall."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import TypeAlias

from chainsim.listen.sheets.carry_plan.choice import Choice, is_outside
from chainsim.listen.sheets.carry_plan.inventory import Gear, Inventory
from chainsim.listen.sheets.carry_plan.wants import Job, Wants

Setting: TypeAlias = tuple[str, str, float | None]
"""What a box has to hold: a block, its setting, and the tempo unless it follows that by itself."""
Inside: TypeAlias = tuple[str, tuple[Setting, ...], str]
"""How one block lies inside a box, or two do to each other: the relation, these blocks, and its level if it has one."""


@dataclass(frozen=True)
class Scene:
    """What a box holds in one patch, and how that lies inside it."""

    settings: frozenset[Setting]
    inside: frozenset[Inside]

    def is_part_of(self, other: Scene) -> bool:
        """Whether the other, with some of it switched off, is this one."""
        return self.settings <= other.settings and self.inside <= other.inside


def setting_of(job: Job, box: Gear) -> Setting:
    """What a box has to hold to make a job."""
    return job.block, job.setting, None if box.follows_tempo else job.tempo_bpm


def scenes(choice: Choice, wants: Wants, inventory: Inventory, gear: int) -> dict[str, Scene]:
    """What a box holds in each patch in which it works."""
    box = inventory.gear[gear]
    found = {}
    for patch in choice.patches(wants):
        held = {name: setting_of(wants.jobs[j], box) for name, j in patch.jobs.items() if choice.box_of.get(j) == gear}
        if held:
            inside: set[Inside] = set()
            lanes, straight = (dict.fromkeys(held, "") for _ in range(2))
            for fork in patch.forks:
                if fork.blocks <= held.keys() and not is_outside(choice, patch, fork, inventory):
                    for name, level in fork.levels.items():
                        lanes[name] += f"{level}; "
                        straight[name] += f"{fork.straight}; " if fork.dry else ""
            # Said of every block, so that with a straight sound beside it and without are two.
            inside |= {("straight", (held[name],), level) for name, level in straight.items()}
            inside |= {("lane", (held[name],), level) for name, level in lanes.items() if level}
            inside |= {("before", (held[a], held[b]), "") for a, b in patch.before if {a, b} <= held.keys()}
            beside = ((held[a], held[b]) for a, b in patch.beside if {a, b} <= held.keys())
            inside |= {("beside", tuple(sorted(pair, key=repr)), "") for pair in beside}
            found[patch.name] = Scene(frozenset(held.values()), frozenset(inside))
    return found


def programs_needed(held: Iterable[Scene], at_once: int) -> int:
    """How many settings a box must recall: one if all it ever makes goes into it at one time.

    Otherwise one for each scene that is not a part of another; what a scene leaves out is switched off in it.
    """
    distinct = set(held)
    if _are_one(distinct, at_once):
        return 1
    return sum(not any(scene != other and scene.is_part_of(other) for other in distinct) for scene in distinct)


def _are_one(distinct: Collection[Scene], at_once: int) -> bool:
    """Whether all of it goes into a box at one time, each block in one place."""
    if len(frozenset().union(*(scene.settings for scene in distinct))) > at_once:
        return False
    inside = frozenset().union(*(scene.inside for scene in distinct))
    before = {pair for relation, pair, _ in inside if relation == "before"}
    later: dict[Setting, set[Setting]] = {}
    for a, b in before:
        later.setdefault(a, set()).add(b)
    for a in later:
        waiting = list(later[a])
        while waiting:
            new = later.get(waiting.pop(), set()) - later[a]
            later[a] |= new
            waiting += new
    apart = [pair for relation, pair, _ in inside if relation == "beside"]
    levels = Counter((relation, pair) for relation, pair, _ in inside if relation in ("lane", "straight"))
    return (
        not any(a in after for a, after in later.items())
        and not any(b in later.get(a, ()) or a in later.get(b, ()) for a, b in apart)
        and all(count == 1 for count in levels.values())
    )
