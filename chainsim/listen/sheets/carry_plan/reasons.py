"""Why a patch cannot be made: what nothing makes, or which limit, lifted alone, would let it be made."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from decimal import Decimal
from itertools import islice
from typing import get_args

from chainsim.listen.sheets.carry_plan.checking import larger_boards, layout
from chainsim.listen.sheets.carry_plan.choice import Choice, Limit, is_outside
from chainsim.listen.sheets.carry_plan.choosing import least
from chainsim.listen.sheets.carry_plan.integer_program import SearchTooLargeError
from chainsim.listen.sheets.carry_plan.inventory import (
    Gear,
    Inventory,
    Measure,
    Supply,
    feeds,
    name_of,
    plug_text,
    total,
)
from chainsim.listen.sheets.carry_plan.latency import longest_way
from chainsim.listen.sheets.carry_plan.order import changing, torn
from chainsim.listen.sheets.carry_plan.plan import LostPatch
from chainsim.listen.sheets.carry_plan.power import feeds_of
from chainsim.listen.sheets.carry_plan.scenes import Scene, programs_needed, scenes
from chainsim.listen.sheets.carry_plan.wants import Wants

LIMITS: tuple[Limit, ...] = get_args(Limit)
_NOT_SETTLED = "what is in the way is not settled: too many ways to choose"


def why_not(
    inventory: Inventory,
    wants: Wants,
    patch: str,
    made: Collection[str],
    lifted: Collection[Limit],
    *,
    until: float = math.inf,
) -> LostPatch:
    """Why a patch cannot be made, in words: what nothing makes, or ways of which one, mended, would do.

    Parameters
    ----------
    inventory : Inventory
    wants : Wants
    patch : str
    made : collection of str
        The patches that can be made. Where this one could be made without them, the reason is beside them.
    lifted : collection of Limit
        Limits that do not hold anyway.
    until : float
        The moment, by `time.monotonic`, at which it gives up, and says so.
    """
    alone = wants.only({patch})
    unmade = [
        f"nothing makes {job.type_name} ({block})"
        for block, job in ((block, wants.jobs[j]) for block, j in alone.patches[0].jobs.items())
        if not any(job.type_name in box.makes for box in inventory.gear)
    ]
    if unmade:
        return LostPatch(patch, True, (tuple(unmade),))
    try:
        by_itself = least(inventory, alone, "boxes", lifted, until) is None
    except SearchTooLargeError:
        return LostPatch(patch, True, ((_NOT_SETTLED,),))
    scope = alone if by_itself else wants.only({patch, *made})
    ways = [
        way for limit in LIMITS if limit not in lifted for way in _without_limit(inventory, scope, limit, lifted, until)
    ]
    return LostPatch(patch, by_itself, tuple(ways or [_several(inventory, scope, lifted, until)]))


def _without_limit(
    inventory: Inventory, wants: Wants, limit: Limit, lifted: Collection[Limit], until: float
) -> Iterator[tuple[str, ...]]:
    """What is in the way of choices that are made without a limit, or with less of it: the nearer remedy first."""
    by: Measure = "mass" if limit == "mass" else "price" if limit == "budget" else "boxes"
    nearer = [(_with_strong_outlets(inventory), {*lifted})] if limit == "outlets" else []
    told: set[frozenset[int]] = set()
    for having, without in (*nearer, (inventory, {*lifted, limit})):
        try:
            choice = least(having, wants, by, without, until)
        except SearchTooLargeError:
            continue
        boxes = frozenset(i for i in choice.carried if i < len(inventory.gear)) if choice else frozenset()
        if choice is not None and boxes not in told and (way := tuple(_words(limit, choice, wants, inventory))):
            told.add(boxes)
            yield way


def _with_strong_outlets(inventory: Inventory) -> Inventory:
    """As if every outlet were strong enough for whatever box takes its voltage."""
    most = max((box.current_ma or 0.0 for box in inventory.gear), default=0.0)

    def strong(supply: Supply) -> Supply:
        return supply.model_copy(
            update={"outlets": [outlet.model_copy(update={"current_ma": most}) for outlet in supply.outlets]}
        )

    return replace(inventory, supplies=[strong(supply) for supply in inventory.supplies])


def _several(inventory: Inventory, wants: Wants, lifted: Collection[Limit], until: float) -> tuple[str, ...]:
    """Limits that would all have to be lifted: those without which it could not be made if the others were."""
    needed: list[Limit] = [limit for limit in LIMITS if limit not in lifted]
    try:
        for limit in tuple(needed):
            fewer = [other for other in needed if other != limit]
            if least(inventory, wants, "boxes", {*lifted, *fewer}, until) is not None:
                needed = fewer
        choice = least(inventory, wants, "boxes", {*lifted, *needed}, until)
    except SearchTooLargeError:
        return (_NOT_SETTLED,)
    words = [] if choice is None else [line for limit in needed for line in _words(limit, choice, wants, inventory)]
    return tuple(words) or (_NOT_SETTLED,)


def _words(limit: Limit, choice: Choice, wants: Wants, inventory: Inventory) -> Iterator[str]:
    """What is wrong with a choice that was made without a limit."""
    limits, items = inventory.limits, [inventory.items[i] for i in choice.carried]
    boxes = sorted(set(choice.box_of.values()))
    if limit == "mass" and limits.mass_g is not None:
        yield f"over the mass by {_over(total(items, 'mass'), limits.mass_g, ' g')}"
    elif limit == "budget" and limits.budget is not None:
        unit = f" {inventory.header.currency}".rstrip()
        yield f"over the budget by {_over(total(items, 'price'), limits.budget, unit)}"
    elif limit == "latency":
        ways = [(longest_way(choice, patch, inventory).ms, patch.name) for patch in choice.patches(wants)]
        ms, name = max(ways)
        yield f"too late: {ms:g} ms through the boxes in {name}, allowed {limits.latency_ms or 0.0:g} ms"
    elif limit == "board":
        on_board = [i for i in choice.carried if inventory.items[i].on_board]
        names = ", ".join(name_of(inventory.items[i]) for i in on_board)
        board = f"the board of {limits.board_width_mm:g} x {limits.board_depth_mm:g} mm"
        fits_not = layout(inventory, on_board).verdict == "does not fit"
        larger = " or ".join(f"{wide:g} x {deep:g} mm" for wide, deep in larger_boards(inventory, on_board))
        told = f"does not fit {board}: {names}" if fits_not else f"no layout found on {board}: {names}"
        yield f"{told}; {larger} would do" if larger else told
    elif limit == "height":
        for item in items:
            if item.on_board and (item.height_mm or 0.0) > (limits.height_mm or 0.0):
                yield f"{name_of(item)} is {item.height_mm:g} mm high, allowed {limits.height_mm:g} mm"
    elif limit == "outlets":
        carried = set(choice.carried)
        supplies = [s for k, s in enumerate(inventory.supplies) if k + len(inventory.gear) in carried]
        _, unfed = feeds_of([g for i, g in enumerate(inventory.gear) if i in carried], supplies or inventory.supplies)
        for box in unfed:
            yield _unfed(box, inventory)
    elif limit in ("programs", "at once"):
        for g in boxes:
            yield from _too_much_for(g, limit, choice, wants, inventory)
    elif limit == "pedals":
        for g in boxes:
            pedals = sorted(
                {
                    pedal
                    for patch in choice.patches(wants)
                    for pedal, block in patch.pedals
                    if choice.box_of[patch.jobs[block]] == g
                }
            )
            box = inventory.gear[g]
            if len(pedals) > box.pedal_inputs:
                yield f"{name_of(box)} has {_counted(box.pedal_inputs, 'pedal input')}, wanted for {', '.join(pedals)}"
    elif limit == "lanes":
        yield from dict.fromkeys(
            f"no splitter and mixer for the fork of {', '.join(sorted(fork.heads))} in {patch.name}"
            for patch in choice.patches(wants)
            for fork in patch.forks
            if is_outside(choice, patch, fork, inventory)
        )
    elif limit == "loops":
        yield from _out_of_order(choice, wants, inventory)


def _unfed(box: Gear, inventory: Inventory) -> str:
    """Why no outlet feeds a box: there is none of its kind, none strong enough, or none left."""
    plug = ", ".join(filter(None, (f"{box.voltage_v:g} V {box.current}", plug_text(box))))
    any_of_them = box.model_copy(update={"current_ma": 0.0})
    outlets = [outlet for supply in inventory.supplies for outlet in supply.outlets]
    gives = [outlet.current_ma or 0.0 for outlet in outlets if feeds(outlet, any_of_them)]
    draws = f"{name_of(box)} draws {box.current_ma:g} mA at {plug}"
    if not gives:
        return f"{draws}, and there is no such outlet"
    if max(gives) < (box.current_ma or 0.0):
        return f"{draws}, and no such outlet gives more than {max(gives):g} mA"
    return f"{draws}, and no outlet that gives it is left"


def _out_of_order(choice: Choice, wants: Wants, inventory: Inventory) -> Iterator[str]:
    parted = [(patch, found) for patch in choice.patches(wants) for found in islice(torn(choice, patch), 1)]
    for patch, (first, between, last) in parted:
        maker = name_of(inventory.gear[choice.box_of[patch.jobs[first]]])
        yield f"in {patch.name}, {maker} would make {first} and {last}, but {between} parts them"
    if not parted:
        names = ", ".join(name_of(inventory.gear[g]) for g in sorted(changing(choice, wants)))
        yield f"patches want {names} in different orders, and there are too few loops for them"


def _over(comes_to: Decimal, allowed: float, unit: str) -> str:
    bound = Decimal(str(allowed))
    over, least_of_all, most = (f"{value.normalize():f}" for value in (comes_to - bound, comes_to, bound))
    return f"{over}{unit}: at least {least_of_all}{unit}, allowed {most}{unit}"


def _too_much_for(g: int, limit: Limit, choice: Choice, wants: Wants, inventory: Inventory) -> Iterator[str]:
    box, held = inventory.gear[g], scenes(choice, wants, inventory, g)
    most = max(len(scene.settings) for scene in held.values())
    if limit == "at once" and most > box.at_once:
        blocks = next(_blocks([scene]) for scene in held.values() if len(scene.settings) == most)
        yield f"{name_of(box)} makes {_counted(box.at_once, 'block')} at once, wanted {', '.join(blocks)}"
    needed = programs_needed(held.values(), max(box.at_once, most))
    if limit == "programs" and needed > box.programs:
        yield (
            f"{name_of(box)} recalls {_counted(box.programs, 'setting')}, wanted {needed} for"
            f" {', '.join(_blocks(held.values()))}; a second box would do, or a hand that turns it between patches"
            " (--by-hand)"
        )


def _blocks(held: Iterable[Scene]) -> list[str]:
    return sorted({block for scene in held for block, _, _ in scene.settings})


def _counted(count: int, what: str) -> str:
    return f"{count or 'no'} {what}" if count == 1 else f"{count or 'no'} {what}s"
