"""The smallest choice that makes what is wanted: one goal after the other, each kept while the next is sought."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Literal, TypeAlias

from chainsim.listen.sheets.carry_plan.checking import broken
from chainsim.listen.sheets.carry_plan.choice import Choice, Limit
from chainsim.listen.sheets.carry_plan.integer_program import SearchTooLargeError
from chainsim.listen.sheets.carry_plan.inventory import Inventory
from chainsim.listen.sheets.carry_plan.matching import Matching, Terms
from chainsim.listen.sheets.carry_plan.wants import Wants

By: TypeAlias = Literal["boxes", "mass", "price"]
MOST_TRIES = 400
MOST_TRIES_WITHOUT = 25
"""For what is left without one item: that is asked once for each."""

_GOALS: dict[By, tuple[By, ...]] = {
    "boxes": ("boxes", "mass", "price"),
    "mass": ("mass", "boxes", "price"),
    "price": ("price", "boxes", "mass"),
}


def smallest(
    inventory: Inventory,
    wants: Wants,
    *,
    by: By = "boxes",
    lifted: Collection[Limit] = (),
) -> Choice | None:
    """The smallest choice that makes every patch; None if there is none.

    Parameters
    ----------
    inventory : Inventory
    wants : Wants
    by : {"boxes", "mass", "price"}
        What counts first; of equals the others decide, in this order, and then the order of the inventory.
    lifted : collection of Limit
        Limits that do not hold.

    Raises
    ------
    SettingError
        If there are too many ways to choose.
    """
    matching = Matching(inventory, wants, lifted)
    matching.require_all()
    return _best(matching, [*_goals(matching, by), matching.places(), matching.spread()])


def least(inventory: Inventory, wants: Wants, by: By, lifted: Collection[Limit]) -> Choice | None:
    """A choice that makes every patch and is least by one measure alone; None if there is none."""
    matching = Matching(inventory, wants, lifted)
    matching.require_all()
    return _best(matching, _goals(matching, by)[:1])


def most_patches(inventory: Inventory, wants: Wants, *, lifted: Collection[Limit] = ()) -> Choice:
    """A choice that makes as many patches as can be, with as few items as then will do.

    Raises
    ------
    SettingError
        As `smallest`.
    """
    matching = Matching(inventory, wants, lifted)
    found = _best(matching, [matching.unmade()])
    return found or Choice((), (), {}, {}, {})


def most_without(inventory: Inventory, wants: Wants, item: int, lifted: Collection[Limit]) -> Choice | None:
    """As many patches as can be made without one item; None if that is not settled within some tries."""
    try:
        matching = Matching(inventory, wants, lifted, (item,))
        matching.require_all()
        all_of_them = _best(matching, [matching.counts()], MOST_TRIES_WITHOUT)
        if all_of_them is not None:
            return all_of_them
        matching = Matching(inventory, wants, lifted, (item,))
        return _best(matching, [matching.unmade()], MOST_TRIES_WITHOUT)
    except SearchTooLargeError:
        return None


def _goals(matching: Matching, by: By) -> list[Terms]:
    terms = {"boxes": matching.counts(), "mass": matching.masses(), "price": matching.costs()}
    return [terms[name] for name in _GOALS[by]]


def _best(matching: Matching, goals: list[Terms], tries: int = MOST_TRIES) -> Choice | None:
    """The choice that is least in each goal, of those that are least in the goals before."""
    found = None
    for goal in goals:
        found = _checked(matching, goal, tries)
        if found is None:
            return None
        matching.keep_at(goal)
    return None if found is None else replace(found, passed_over=matching.passed_over)


def _checked(matching: Matching, goal: Terms, tries: int) -> Choice | None:
    """The least choice of those with which nothing is wrong."""
    for _ in range(tries):
        found = matching.least(goal)
        cuts = [] if found is None else list(broken(found, matching))
        if not cuts:
            return found
        for cut in cuts:
            matching.forbid(cut)
    raise SearchTooLargeError("too many ways to choose; give fewer items, or fewer patches")
