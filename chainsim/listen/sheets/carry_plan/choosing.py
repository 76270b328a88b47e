"""The smallest choice that makes what is wanted: one goal after the other, each kept while the next is sought."""

from __future__ import annotations

import math
import time
from collections.abc import Collection
from dataclasses import replace

from chainsim.listen.sheets.carry_plan.checking import broken
from chainsim.listen.sheets.carry_plan.choice import Choice, Limit, Unsettled
from chainsim.listen.sheets.carry_plan.goals import places, spread, unmade
from chainsim.listen.sheets.carry_plan.integer_program import TOO_LARGE, SearchTooLargeError
from chainsim.listen.sheets.carry_plan.inventory import Inventory, Measure, goals_of, total
from chainsim.listen.sheets.carry_plan.matching import Matching, Terms
from chainsim.listen.sheets.carry_plan.wants import Wants
from chainsim.listen.sheets.carry_plan.wiring_rows import WiringRows

MOST_SECONDS = 60.0
"""After that any choice will do, and it is told what smaller ones are not ruled out."""
SECONDS_FOR_ANY = 60.0
MOST_TRIES = 400
MOST_TRIES_WITHOUT = 25
"""For what is left without one item: that is asked once for each."""


def smallest(
    inventory: Inventory,
    wants: Wants,
    *,
    by: Measure = "boxes",
    lifted: Collection[Limit] = (),
    seconds: float = MOST_SECONDS,
) -> Choice | None:
    """The smallest choice that makes every patch; None if there is none.

    Parameters
    ----------
    inventory : Inventory
    wants : Wants
    by : {"boxes", "mass", "price"}
        What counts first; of equals the others decide, in this order, and then the order of the inventory. What is not
        known of every item decides nothing.
    lifted : collection of Limit
        Limits that do not hold.
    seconds : float
        Afterwards the best that was found is taken, and says what is not settled.

    Raises
    ------
    SettingError
        If what counts first is not known of every item, or no choice is found in time.
    """
    until = time.monotonic() + seconds
    measures = goals_of(inventory, by)
    matching = Matching(inventory, wants, lifted, until=until)
    matching.require_all()
    checked = _Checked(matching)
    found: Choice | None = None
    for measure in measures:
        goal = matching.measure(measure)
        if found is not None and not any(goal.values()):
            continue
        try:
            found = checked.least(goal)
        except SearchTooLargeError as error:
            found = found or _some(checked, measure)
            if found is None:
                return None
            value = float(total([inventory.items[i] for i in found.carried], measure))
            bound = max(error.bound, 0.0)
            bound = math.ceil(bound - 1e-6) if measure == "boxes" else bound
            if bound < value - 1e-6 * value:
                return replace(found, unsettled=Unsettled(measure, value, bound), passed_over=matching.passed_over)
            matching.least_sum = value
        if found is None:
            return None
        matching.keep_at(goal)
    assert found is not None
    try:
        found = checked.least(places(matching)) or found
    except SearchTooLargeError:
        return replace(found, passed_over=matching.passed_over)
    return replace(_tidied(found, inventory, wants, lifted, until), passed_over=matching.passed_over)


def _some(checked: _Checked, measure: Measure) -> Choice | None:
    """Some choice, without what it carries beyond need; None if there is none."""
    whole = checked.matching
    found = checked.any(whole.measure(measure))
    if found is None:
        return None
    matching = _among(found, whole.inventory, whole.wants, whole.lifted, time.monotonic() + SECONDS_FOR_ANY)
    try:
        return _Checked(matching).least(matching.measure(measure)) or found
    except SearchTooLargeError:
        return found


def _among(found: Choice, inventory: Inventory, wants: Wants, lifted: Collection[Limit], until: float) -> Matching:
    """A matching of what a choice carries alone."""
    others = [i for i, _ in enumerate(inventory.items) if i not in found.carried]
    matching = Matching(inventory, wants, lifted, others, until)
    matching.require_all()
    return matching


def _tidied(found: Choice, inventory: Inventory, wants: Wants, lifted: Collection[Limit], until: float) -> Choice:
    """Of the same items, the choice by which blocks stay in one box over all patches."""
    matching = _among(found, inventory, wants, lifted, until)
    for i in found.carried:
        matching.row({("item", i): 1.0}, low=1.0)
    try:
        tidy = _Checked(matching).least(spread(matching))
    except SearchTooLargeError:
        tidy = None
    return tidy or found


def least(
    inventory: Inventory, wants: Wants, by: Measure, lifted: Collection[Limit], until: float = math.inf
) -> Choice | None:
    """A choice that makes every patch and is least by one measure alone; None if there is none."""
    matching = Matching(inventory, wants, lifted, until=until)
    matching.require_all()
    return _Checked(matching).least(matching.measure(by))


def most_patches(
    inventory: Inventory, wants: Wants, *, lifted: Collection[Limit] = (), until: float = math.inf
) -> Choice:
    """A choice that makes as many patches as can be, with as few items as then will do.

    Raises
    ------
    SettingError
        As `smallest`.
    """
    matching = Matching(inventory, wants, lifted, until=until)
    found = _Checked(matching).least(unmade(matching))
    return found or Choice((), (), {}, {}, {})


def most_without(
    inventory: Inventory, wants: Wants, item: int, lifted: Collection[Limit], until: float = math.inf
) -> Choice | None:
    """As many patches as can be made without one item; None if that is not settled within some tries."""
    try:
        matching = Matching(inventory, wants, lifted, (item,), until)
        matching.require_all()
        all_of_them = _Checked(matching, MOST_TRIES_WITHOUT).least(matching.measure("boxes"))
        if all_of_them is not None:
            return all_of_them
        matching = Matching(inventory, wants, lifted, (item,), until)
        return _Checked(matching, MOST_TRIES_WITHOUT).least(unmade(matching))
    except SearchTooLargeError:
        return None


class _Checked:
    """The choices of a matching with which nothing is wrong."""

    def __init__(self, matching: Matching, tries: int = MOST_TRIES) -> None:
        self.matching, self._tries = matching, tries
        self._wiring = WiringRows(matching)

    def least(self, goal: Terms) -> Choice | None:
        """The least of them; None if there is none."""
        bound = -math.inf
        try:
            for _ in range(self._tries):
                found = self.matching.least(goal)
                if found is None or not self._mend(found):
                    return found
                bound = self.matching.least_sum
                self.matching.keep_from(goal)
        except SearchTooLargeError as error:
            raise SearchTooLargeError(str(error), max(error.bound, bound)) from None
        raise SearchTooLargeError(TOO_LARGE, bound)

    def any(self, goal: Terms) -> Choice | None:
        """The first of them that is found; None if there is none."""
        until = time.monotonic() + SECONDS_FOR_ANY
        for _ in range(self._tries):
            left_s = until - time.monotonic()
            if left_s <= 0.0:
                break
            found = self.matching.any_choice(goal, seconds=left_s)
            if found is None or not self._mend(found):
                return found
        raise SearchTooLargeError(TOO_LARGE)

    def _mend(self, found: Choice) -> bool:
        """Whether something was wrong with a choice; then it is ruled out."""
        rows = list(broken(found, self.matching))
        for terms, high in rows:
            self.matching.row(terms, high=high)
        return self._wiring.add(found) or bool(rows)
