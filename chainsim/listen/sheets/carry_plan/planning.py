"""Making the carry plan: the smallest part of an inventory that makes a set, and all that is to be told of it."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence

from chainsim.listen.sheets.carry_plan.checking import layout
from chainsim.listen.sheets.carry_plan.choice import Choice, Limit, is_outside
from chainsim.listen.sheets.carry_plan.choosing import MOST_SECONDS, most_patches, most_without, smallest
from chainsim.listen.sheets.carry_plan.inventory import (
    Gear,
    Inventory,
    Measure,
    Supply,
    goals_of,
    is_pressed,
    name_of,
    not_known,
    total,
)
from chainsim.listen.sheets.carry_plan.latency import longest_way
from chainsim.listen.sheets.carry_plan.order import changing
from chainsim.listen.sheets.carry_plan.plan import (
    Carried,
    CarryPlan,
    Laid,
    Left,
    LostPatch,
    MadePatch,
    Spare,
    Total,
    Work,
)
from chainsim.listen.sheets.carry_plan.power import Feed, feeds_of
from chainsim.listen.sheets.carry_plan.reasons import why_not
from chainsim.listen.sheets.carry_plan.scenes import programs_needed, scenes
from chainsim.listen.sheets.carry_plan.wants import Wants, wants_of
from chainsim.sketch.model import Sketch


def carry_plan(
    sketch: Sketch,
    inventory: Inventory,
    patches: Iterable[str] = (),
    *,
    by: Measure = "boxes",
    by_hand: bool = False,
    seconds: float = MOST_SECONDS,
) -> CarryPlan:
    """Find the smallest part of an inventory that makes the wanted patches, or else most of them.

    Parameters
    ----------
    sketch : Sketch
        Its patches are wanted; a sketch without patches is one patch of its title.
    inventory : Inventory
    patches : iterable of str
        Those alone.
    by : {"boxes", "mass", "price"}
        What is to be small first; of equals the others decide, then the order of the inventory.
    by_hand : bool
        Whether boxes may be turned by hand between patches, so that none need recall its settings.
    seconds : float
        So long it looks for the smallest at the most, and as long again for what is in the way of lost patches, and for
        what is left without each item; what is not settled by then is told.

    Raises
    ------
    SettingError
        If the sketch has no such patch, what is to be small first is not known of every item, or nothing is found in
        time.
    """
    wants = wants_of(sketch, patches, inventory.header.made_elsewhere)
    lifted: tuple[Limit, ...] = ("programs",) if by_hand else ()
    choice = smallest(inventory, wants, by=by, lifted=lifted, seconds=seconds)
    lost: tuple[LostPatch, ...] = ()
    if choice is None:
        made = most_patches(inventory, wants, lifted=lifted, until=time.monotonic() + seconds).made
        missing = [patch.name for patch in wants.patches if patch.name not in made]
        until = time.monotonic() + seconds
        lost = tuple(why_not(inventory, wants, name, made, lifted, until=until) for name in missing)
        choice = smallest(inventory, wants.only(made), by=by, lifted=lifted, seconds=seconds) if made else None
    choice = choice or Choice((), (), {}, {}, {})
    until = time.monotonic() + seconds
    spares = tuple(_spare(i, choice, wants.only(choice.made), inventory, lifted, until) for i in choice.carried)
    return _told(sketch, inventory, wants, choice, lost, tuple(goals_of(inventory, by)), spares)


def _told(
    sketch: Sketch,
    inventory: Inventory,
    wanted: Wants,
    choice: Choice,
    lost: tuple[LostPatch, ...],
    goals: tuple[Measure, ...],
    spares: tuple[Spare, ...],
) -> CarryPlan:
    made = wanted.only(choice.made)
    gear, supplies, items = inventory.gear, inventory.supplies, inventory.items
    boxes = [box for g, box in enumerate(gear) if g in choice.carried]
    feeding = [supply for s, supply in enumerate(supplies) if s + len(gear) in choice.carried]
    on_board = [i for i in choice.carried if items[i].on_board]
    found, _ = feeds_of(boxes, feeding)
    places = layout(inventory, on_board).places if inventory.limits.has_board else ()
    limits = inventory.limits
    return CarryPlan(
        title=sketch.title,
        inventory=inventory.header.title,
        goals=goals,
        made=tuple(
            MadePatch(patch.name, _by_box(choice, patch.jobs, gear), longest_way(choice, patch, inventory).ms)
            for patch in made.patches
        ),
        lost=lost,
        carried=tuple(_carried(i, choice, made, inventory) for i in choice.carried),
        totals=_totals(choice, made, inventory, found),
        feeds=found,
        unplugged=tuple((name_of(box), box.power) for box in boxes if box.power != "outlet"),
        board_mm=(limits.board_width_mm or 0.0, limits.board_depth_mm or 0.0) if limits.has_board else None,
        layout=tuple(
            Laid(name_of(items[i]), isinstance(items[i], Supply), place, is_pressed(items[i]))
            for i, place in zip(on_board, places, strict=True)
        )
        if places
        else (),
        passed_over=choice.passed_over,
        unsettled=choice.unsettled,
        beside=tuple(name_of(items[i]) for i in choice.carried if not items[i].on_board),
        pedals=tuple(sorted({pedal for patch in made.patches for pedal, _ in patch.pedals})),
        elsewhere=wanted.elsewhere,
        left=tuple(
            Left(name_of(item), _why_left(item, choice, wanted, inventory))
            for i, item in enumerate(items)
            if choice.made and i not in choice.carried
        ),
        spares=spares,
    )


def _by_box(choice: Choice, jobs: Mapping[str, int], gear: Sequence[Gear]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    found: dict[str, list[str]] = {}
    for block, job in jobs.items():
        found.setdefault(name_of(gear[choice.box_of[job]]), []).append(block)
    return tuple((box, tuple(blocks)) for box, blocks in found.items())


def _carried(i: int, choice: Choice, made: Wants, inventory: Inventory) -> Carried:
    item = inventory.items[i]
    held = scenes(choice, made, inventory, i) if isinstance(item, Gear) else {}
    programs = programs_needed(held.values(), item.at_once) if isinstance(item, Gear) and held else 0
    return Carried(
        name=name_of(item),
        is_supply=isinstance(item, Supply),
        work=_work(i, choice, made),
        roles=_roles(i, item, choice, made, inventory),
        settings_held=programs,
        turned_by_hand=isinstance(item, Gear) and programs > item.programs,
        mass_g=item.mass_g,
        price=item.price,
        owned=item.owned,
        latency_ms=item.latency_ms if isinstance(item, Gear) else 0.0,
    )


def _work(i: int, choice: Choice, made: Wants) -> tuple[Work, ...]:
    found: dict[str, list[str]] = {}
    for patch in made.patches:
        for block, job in patch.jobs.items():
            if choice.box_of[job] == i:
                found.setdefault(block, []).append(patch.name)
    return tuple(Work(b, None if len(names) == len(made.patches) else tuple(names)) for b, names in found.items())


def _roles(i: int, item: Gear | Supply, choice: Choice, made: Wants, inventory: Inventory) -> tuple[str, ...]:
    if isinstance(item, Supply):
        return ()
    roles = []
    for place, (heads, dry) in _lanes(choice, made, inventory).items():
        names = ", ".join(name_of(inventory.gear[g]) for g in sorted(heads)) + (
            " and the straight sound" if dry else ""
        )
        if choice.splitter_of.get(place) == i:
            roles.append(f"splits into {len(heads) + dry} lanes: {names}")
        if choice.mixer_of.get(place) == i:
            roles.append(f"sums {len(heads) + dry} lanes: {names}")
    if item.loops and (moving := changing(choice, made)):
        roles.append(f"changes the order of {', '.join(name_of(inventory.gear[g]) for g in sorted(moving))}")
    return tuple(roles)


def _lanes(choice: Choice, made: Wants, inventory: Inventory) -> dict[tuple[object, ...], tuple[frozenset[int], bool]]:
    """Of each fork outside of boxes the gear at the heads of its lanes, and whether one goes straight through."""
    found: dict[tuple[object, ...], tuple[frozenset[int], bool]] = {}
    for patch in made.patches:
        for fork in patch.forks:
            if is_outside(choice, patch, fork, inventory):
                heads, dry = found.get(fork.place, (frozenset(), False))
                found[fork.place] = heads | choice.boxes(patch, fork.heads), dry or fork.dry
    return found


def _totals(choice: Choice, made: Wants, inventory: Inventory, found: tuple[Feed, ...]) -> tuple[Total, ...]:
    limits, items = inventory.limits, [inventory.items[i] for i in choice.carried]
    sounding = {*choice.box_of.values(), *choice.splitter_of.values(), *choice.mixer_of.values()}
    latest_ms = max((longest_way(choice, patch, inventory).ms for patch in made.patches), default=0.0)
    return (
        Total("boxes and supplies", len(items), None, ""),
        Total("mass", float(total(items, "mass")), limits.mass_g, "g", bool(not_known(items, "mass"))),
        Total(
            "to be bought",
            float(total(items, "price")),
            limits.budget,
            inventory.header.currency,
            bool(not_known(items, "price")),
        ),
        Total("longest way through the boxes", latest_ms, limits.latency_ms, "ms"),
        Total("current drawn from outlets", sum(feed.draws_ma for feed in found), None, "mA"),
        Total("power leads", len(found), None, ""),
        Total("signal cables, at least", len(sounding) + 1 if sounding else 0, None, ""),
    )


def _why_left(item: Gear | Supply, choice: Choice, wanted: Wants, inventory: Inventory) -> str:
    limits = inventory.limits
    if item.on_board and limits.height_mm is not None and (item.height_mm or 0.0) > limits.height_mm:
        return f"{item.height_mm:g} mm high, allowed {limits.height_mm:g} mm"
    of_these = "" if len(choice.made) == len(wanted.patches) else " in the patches that can be made"
    if isinstance(item, Supply):
        return f"its outlets are not needed{of_these}"
    makes = set(item.makes)
    asked = {wanted.jobs[j].type_name for patch in wanted.patches for j in patch.jobs.values()}
    if not makes & asked:
        serves = item.splits or item.mixes or item.loops
        return f"not needed{of_these}" if serves else "makes nothing that is wanted"
    others = {name_of(inventory.gear[g]): None for j, g in choice.box_of.items() if wanted.jobs[j].type_name in makes}
    if not others:
        return "what it makes is wanted in patches alone that cannot be made"
    return f"not needed{of_these}: {', '.join(others)} will do"


def _spare(i: int, choice: Choice, made: Wants, inventory: Inventory, lifted: tuple[Limit, ...], until: float) -> Spare:
    without = most_without(inventory, made, i, lifted, until)
    if without is None:
        return Spare(name_of(inventory.items[i]), (), (), settled=False)
    lost = tuple(patch.name for patch in made.patches if patch.name not in without.made)
    instead = tuple(name_of(inventory.items[k]) for k in without.carried if k not in choice.carried)
    return Spare(name_of(inventory.items[i]), instead, lost)
