"""What an integer program says badly is checked on what it chose; what is wrong there is forbidden to it.

Most findings are sets of decisions that may not all be taken. They hold for every choice that takes them all, so that
what is left is still the best: no better choice is ever cut off [1]_.

References
----------
.. [1] G. Codato, M. Fischetti, "Combinatorial Benders' cuts for mixed-integer linear programming", Operations
   Research 54 (2006).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from typing import TypeAlias

from chainsim.listen.sheets.carry_plan.choice import Choice, Limit
from chainsim.listen.sheets.carry_plan.inventory import Gear, Inventory, Measure, Supply, is_pressed, total
from chainsim.listen.sheets.carry_plan.latency import longest_way
from chainsim.listen.sheets.carry_plan.matching import Key, Matching
from chainsim.listen.sheets.carry_plan.order import parted, torn
from chainsim.listen.sheets.carry_plan.packing import Packing, Size, boards_that_do, pack
from chainsim.listen.sheets.carry_plan.scenes import programs_needed, scenes, setting_of
from chainsim.listen.sheets.carry_plan.wants import Wants

Row: TypeAlias = tuple[dict[Key, float], float]
"""Multiples of decisions, and what their sum is at most."""

_HOLDS = ("at_once", "programs", "follows_tempo", "keeps_dry")
_ROUNDING = 1e-9


def broken(choice: Choice, matching: Matching) -> Iterator[Row]:
    """Rows of which a choice breaks some, and no choice that can be made breaks any."""
    if not {"programs", "at once"} & matching.lifted:
        yield from _too_many_settings(choice, matching)
    if "loops" not in matching.lifted:
        yield from _torn(choice, matching)
    if "latency" not in matching.lifted:
        yield from map(_not_all, _too_late(choice, matching))
    yield from map(_not_all, _too_much(choice, matching))
    if "board" not in matching.lifted and (crowd := _no_room(choice, matching)):
        yield _not_all([("item", i) for i in crowd])


def _not_all(decisions: Collection[Key]) -> Row:
    """They may not all be taken."""
    return dict.fromkeys(decisions, 1.0), len(decisions) - 1.0


def _too_many_settings(choice: Choice, matching: Matching) -> Iterator[Row]:
    inventory, wants = matching.inventory, matching.wants
    for g in sorted(set(choice.box_of.values())):
        box = inventory.gear[g]

        def is_broken(jobs: Sequence[int], g: int = g, box: Gear = box) -> bool:
            held = scenes(replace(choice, box_of=dict.fromkeys(jobs, g)), wants, inventory, g)
            return programs_needed(held.values(), box.at_once) > box.programs

        jobs = [j for j, maker in choice.box_of.items() if maker == g]
        if is_broken(jobs):
            alike = _alike(_fewer(jobs, is_broken), wants, box)
            for other, maker in enumerate(inventory.gear):
                if all(getattr(maker, name) <= getattr(box, name) for name in _HOLDS):
                    able = [[("job", j, other) for j in jobs if other in matching.makers[j]] for jobs in alike]
                    if all(able):
                        yield _not_all([matching.any_of(keys) for keys in able])


def _alike(jobs: Sequence[int], wants: Wants, box: Gear) -> list[list[int]]:
    """For each of some jobs of which one is too many for a box, all that would be as many in its place.

    Where they are different settings, each in a patch of its own, any other patch would do that asks for the same.
    """
    patch_of = {j: p for p, patch in enumerate(wants.patches) for j in patch.jobs.values()}
    settings = [setting_of(wants.jobs[j], box) for j in jobs]
    patches = {patch_of[j] for j in jobs}
    if len(set(settings)) < len(jobs) or len(patches) < len(jobs):
        return [[j] for j in jobs]
    return [
        [
            k
            for k, p in patch_of.items()
            if setting_of(wants.jobs[k], box) == setting and p not in patches - {patch_of[j]}
        ]
        for j, setting in zip(jobs, settings, strict=True)
    ]


def _torn(choice: Choice, matching: Matching) -> Iterator[Row]:
    """The sound enters a box once, unless that has a loop of its own."""
    gear, wants = matching.inventory.gear, matching.wants
    found = {
        blocks
        for patch in choice.patches(wants)
        for blocks in torn(choice, patch)
        if not gear[choice.box_of[patch.jobs[blocks[0]]]].loops
    }
    for patch in wants.patches if found else ():
        for blocks in sorted(found.intersection(parted(patch))):
            a, b, c = (patch.jobs[block] for block in blocks)
            for g in sorted({*matching.makers[a]} & {*matching.makers[c]}):
                if not gear[g].loops:
                    with_it = {("job", b, g): -1.0} if g in matching.makers[b] else {}
                    yield {("job", a, g): 1.0, ("job", c, g): 1.0, **with_it}, 1.0


def _too_late(choice: Choice, matching: Matching) -> Iterator[tuple[Key, ...]]:
    inventory, wants = matching.inventory, matching.wants
    allowed_ms = inventory.limits.latency_ms
    if allowed_ms is None:
        return
    for patch in choice.patches(wants):
        way = longest_way(choice, patch, inventory)
        if way.ms <= allowed_ms + _ROUNDING:
            continue
        first: dict[int, str] = {}
        for name in way.blocks:
            first.setdefault(choice.box_of[patch.jobs[name]], name)
        if sum(inventory.gear[g].latency_ms for g in first) > allowed_ms + _ROUNDING:
            yield tuple(("job", patch.jobs[name], g) for g, name in first.items())
        else:  # a box counts twice, or a splitter does: then it takes all of the patch
            forks = [
                (role, fork.place, table[fork.place])
                for fork in patch.forks
                for role, table in (("split", choice.splitter_of), ("mix", choice.mixer_of))
                if fork.place in table
            ]
            yield (*(("job", j, choice.box_of[j]) for j in patch.jobs.values()), *forks)


def _too_much(choice: Choice, matching: Matching) -> Iterator[tuple[Key, ...]]:
    """Items that together are over a limit by less than a solver in floating point sees."""
    limits, items = matching.inventory.limits, matching.inventory.items
    bounds: tuple[tuple[Limit, Measure, float | None], ...] = (
        ("mass", "mass", limits.mass_g),
        ("budget", "price", limits.budget),
    )
    for limit, by, most in bounds:
        if most is not None and limit not in matching.lifted:

            def is_over(few: Sequence[int], by: Measure = by, most: float = most) -> bool:
                return total([items[i] for i in few], by) > Decimal(str(most))

            if is_over(choice.carried):
                yield tuple(("item", i) for i in _fewer(choice.carried, is_over))


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
    board = limits.board_width_mm or 0.0, limits.board_depth_mm or 0.0
    return _pack(sizes, board, limits.gap_mm, tuple(is_pressed(inventory.items[i]) for i in on_board))


def larger_boards(inventory: Inventory, on_board: Sequence[int]) -> list[Size]:
    """Boards on which items would find room, in steps of 10 mm: deeper or wider than the inventory's."""
    limits = inventory.limits
    sizes = [_size(inventory.items[i]) for i in on_board]
    return boards_that_do(sizes, (limits.board_width_mm or 0.0, limits.board_depth_mm or 0.0), limits.gap_mm)


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
