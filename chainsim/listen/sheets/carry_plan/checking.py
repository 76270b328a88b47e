"""What an integer program says badly is checked on what it chose; what is wrong there is forbidden to it.

Each finding is a set of decisions that may not all be taken. It holds for every choice that takes them all, so that
what is left is still the best: no better choice is ever cut off [1]_.

References
----------
.. [1] G. Codato, M. Fischetti, "Combinatorial Benders' cuts for mixed-integer linear programming", Operations
   Research 54 (2006).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

from chainsim.listen.sheets.carry_plan.choice import Choice, programs_needed, scenes
from chainsim.listen.sheets.carry_plan.inventory import Gear, Inventory, Supply
from chainsim.listen.sheets.carry_plan.latency import longest_way
from chainsim.listen.sheets.carry_plan.matching import Key, Matching
from chainsim.listen.sheets.carry_plan.order import torn
from chainsim.listen.sheets.carry_plan.packing import Packing, Size, pack

_ROUNDING = 1e-9


def broken(choice: Choice, matching: Matching) -> Iterator[tuple[Key, ...]]:
    """Every set of decisions of a choice that cannot stand together."""
    if not {"programs", "at once"} & matching.lifted:
        yield from _too_many_settings(choice, matching)
    if "loops" not in matching.lifted:
        yield from _torn(choice, matching)
    if "latency" not in matching.lifted:
        yield from _too_late(choice, matching)
    if "board" not in matching.lifted and (crowd := _no_room(choice, matching)):
        yield tuple(("item", i) for i in crowd)


def _too_many_settings(choice: Choice, matching: Matching) -> Iterator[tuple[Key, ...]]:
    inventory, wants = matching.inventory, matching.wants
    index = {patch.name: p for p, patch in enumerate(wants.patches)}
    for g in sorted(set(choice.box_of.values())):
        box = inventory.gear[g]

        def is_broken(jobs: Sequence[int], g: int = g, box: Gear = box) -> bool:
            part = {j: g if j in jobs else -1 for j in choice.box_of}
            held = scenes(replace(choice, box_of=part), wants, inventory, g)
            return programs_needed(held.values(), box.at_once) > box.programs

        jobs = [j for j, maker in choice.box_of.items() if maker == g]
        if is_broken(jobs):
            few = _fewer(jobs, is_broken)
            asking = [p.name for p in choice.patches(wants) if set(few) & set(p.jobs.values())]
            for other, alike in enumerate(inventory.gear):
                holds_no_more = all(
                    getattr(alike, name) <= getattr(box, name) for name in ("at_once", "programs", "follows_tempo")
                )
                if holds_no_more and all(other in matching.makers(j) for j in few):
                    yield (*(("job", j, other) for j in few), *(("patch", index[name]) for name in asking))


def _torn(choice: Choice, matching: Matching) -> Iterator[tuple[Key, ...]]:
    """The sound enters a box once, unless that has a loop of its own."""
    gear = matching.inventory.gear
    for p, patch in enumerate(matching.wants.patches):
        if patch.name not in choice.made:
            continue
        for a, b, c in torn(choice, patch):
            if gear[choice.box_of[a]].loops:
                continue
            for g in set(matching.makers(a)) & set(matching.makers(c)):
                for h in matching.makers(b):
                    if h != g and not gear[g].loops:
                        yield ("job", a, g), ("job", b, h), ("job", c, g), ("patch", p)


def _too_late(choice: Choice, matching: Matching) -> Iterator[tuple[Key, ...]]:
    inventory, wants = matching.inventory, matching.wants
    allowed_ms = inventory.limits.latency_ms
    if allowed_ms is None:
        return
    for p, patch in enumerate(wants.patches):
        if patch.name not in choice.made:
            continue
        way = longest_way(choice, patch, inventory)
        if way.ms <= allowed_ms + _ROUNDING:
            continue
        first: dict[int, str] = {}
        for name in way.blocks:
            first.setdefault(choice.box_of[patch.jobs[name]], name)
        if sum(inventory.gear[g].latency_ms for g in first) > allowed_ms + _ROUNDING:
            yield (*(("job", patch.jobs[name], g) for g, name in first.items()), ("patch", p))
        else:  # a box counts twice, or a splitter does: then it takes all of the patch
            forks = [
                (role, fork.place, table[fork.place])
                for fork in patch.forks
                for role, table in (("split", choice.splitter_of), ("mix", choice.mixer_of))
                if fork.place in table
            ]
            yield (*(("job", j, choice.box_of[j]) for j in patch.jobs.values()), *forks, ("patch", p))


def _no_room(choice: Choice, matching: Matching) -> list[int]:
    """Items of which no layout on the board was found."""
    inventory, items = matching.inventory, matching.inventory.items
    on_board = [i for i in choice.carried if items[i].on_board]
    if not inventory.limits.has_board or layout(inventory, on_board).verdict == "laid out":
        return []
    matching.passed_over |= layout(inventory, on_board).verdict == "not settled"
    return _fewer(on_board, lambda few: layout(inventory, few).verdict == "does not fit")


def layout(inventory: Inventory, on_board: Sequence[int]) -> Packing:
    """Where items lie on the inventory's board."""
    limits = inventory.limits
    sizes = tuple(_size(inventory.items[i]) for i in on_board)
    return _pack(sizes, (limits.board_width_mm or 0.0, limits.board_depth_mm or 0.0), limits.gap_mm)


_pack = lru_cache(4096)(pack)


def _size(item: Gear | Supply) -> Size:
    return item.width_mm or 0.0, item.depth_mm or 0.0


def _fewer(of: Sequence[int], is_broken: Callable[[Sequence[int]], bool]) -> list[int]:
    """As few of them as are still broken together: one after the other is left out where that mends nothing."""
    left = list(of)
    if not is_broken(left):
        return left
    for one in of:
        without = [other for other in left if other != one]
        if is_broken(without):
            left = without
    return left
