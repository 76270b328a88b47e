"""Which gear makes what, as an integer program: one variable for each item, each patch, each job in each box."""

from __future__ import annotations

import math
import time
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, TypeAlias

from chainsim.errors import SettingError
from chainsim.listen.sheets.carry_plan.choice import Choice, Limit, is_outside
from chainsim.listen.sheets.carry_plan.forks import Fork
from chainsim.listen.sheets.carry_plan.integer_program import TOO_LARGE, IntegerProgram, SearchTooLargeError
from chainsim.listen.sheets.carry_plan.inventory import Inventory, Measure, feeds, weight
from chainsim.listen.sheets.carry_plan.scenes import Setting, setting_of
from chainsim.listen.sheets.carry_plan.standing_in import stand_ins
from chainsim.listen.sheets.carry_plan.wants import PatchWants, Wants
from chainsim.units import Array

Key: TypeAlias = tuple[Any, ...]
"""What a variable stands for: ("item", i), ("patch", p), ("job", j, gear), ("split", place, gear), and so on."""
Terms: TypeAlias = Mapping[Key, float]

MOST_VARIABLES = 60_000


class Matching:
    """The integer program of an inventory and what is wanted of it.

    In which order boxes are wired is left out of it until a choice breaks it: see `wiring_rows`.

    Parameters
    ----------
    inventory : Inventory
    wants : Wants
    lifted : collection of Limit
        Limits that do not hold.
    without : collection of int
        Items that are not to be had.
    until : float
        The moment, by `time.monotonic`, at which searching ends.
    """

    def __init__(
        self,
        inventory: Inventory,
        wants: Wants,
        lifted: Collection[Limit] = (),
        without: Collection[int] = (),
        until: float = math.inf,
    ) -> None:
        self.inventory, self.wants, self.lifted, self.until = inventory, wants, frozenset(lifted), until
        self.had = [i for i, _ in enumerate(inventory.items) if i not in without]
        self._boxes = [g for g in self.had if g < len(inventory.gear)]
        self._program = IntegerProgram()
        self._numbers: dict[Key, int] = {}
        self.least_sum = 0.0
        """As small as what was last minimised was found to be."""
        self.passed_over = False
        """Whether choices were forbidden of which no layout was found, though there may be one."""
        self.makers: dict[int, tuple[int, ...]] = {
            j: tuple(g for g in self._boxes if wants.jobs[j].type_name in inventory.gear[g].makes)
            for patch in wants.patches
            for j in patch.jobs.values()
        }
        if sum(map(len, self.makers.values())) > MOST_VARIABLES:
            raise SettingError("too many items for so many patches; give fewer of them")
        for i in self.had:
            self.new(("item", i))
        for p, patch in enumerate(wants.patches):
            self.new(("patch", p))
            self._match_jobs(p, patch)
        self._recall_settings()
        if "pedals" not in self.lifted:
            self._connect_pedals()
        if "lanes" not in self.lifted:
            self._split_and_mix()
        if "outlets" not in self.lifted:
            self._feed()
        self._weigh()
        for h, g in stand_ins(inventory, self._boxes):
            self.row({("item", h): 1.0, ("item", g): -1.0}, high=0.0)

    def require_all(self) -> None:
        """Every patch is to be made."""
        for p, _ in enumerate(self.wants.patches):
            self.row({("patch", p): 1.0}, low=1.0)

    def new(self, key: Key) -> Key:
        """A new variable, 0 or 1."""
        self._numbers[key] = self._program.variable()
        return key

    def once(self, key: Key) -> Key:
        """That variable, new if it is not there yet."""
        return key if key in self._numbers else self.new(key)

    def row(self, terms: Terms, low: float = -math.inf, high: float = math.inf) -> None:
        """Keep a sum between two bounds."""
        self._program.row({self._numbers[key]: value for key, value in terms.items()}, low, high)

    def any_of(self, keys: Sequence[Key]) -> Key:
        """A variable that is 1 where one of them is."""
        key = keys[0] if len(keys) == 1 else ("any", *keys)
        if key not in self._numbers:
            self.new(key)
            for one in keys:
                self.row({key: 1.0, one: -1.0}, low=0.0)
        return key

    def keep_at(self, terms: Terms) -> None:
        """Keep a sum as small as it was when it was last minimised, rounding apart."""
        self.row(terms, high=self.least_sum + 1e-6 * max(1.0, abs(self.least_sum)))

    def keep_from(self, terms: Terms) -> None:
        """Spare the search for less than was found when a sum was last minimised: rows alone have come since."""
        self.row(terms, low=self.least_sum - 1e-6 * max(1.0, abs(self.least_sum)))

    def least(self, terms: Terms) -> Choice | None:
        """The choice for which a sum is least; None if there is none.

        Raises
        ------
        SearchTooLargeError
            If that is not settled when the time is up.
        """
        numbered = {self._numbers[key]: value for key, value in terms.items()}
        left_s = self.until - time.monotonic()
        if left_s <= 0.0:
            raise SearchTooLargeError(TOO_LARGE)
        found = self._program.minimise(numbered, seconds=left_s)
        if found is None:
            return None
        if not found.is_best:
            raise SearchTooLargeError(TOO_LARGE, found.bound)
        self.least_sum = math.fsum(value * float(found.values[number]) for number, value in numbered.items())
        return self._choice(found.values)

    def any_choice(self, terms: Terms, *, seconds: float) -> Choice | None:
        """The first choice that is found on the way to the least; None if there is none."""
        numbered = {self._numbers[key]: value for key, value in terms.items()}
        found = self._program.minimise(numbered, seconds=seconds, gap=1.0)
        return None if found is None else self._choice(found.values)

    def _choice(self, found: Array) -> Choice:
        on = {key: None for key, number in self._numbers.items() if found[number] > 0.5}  # in their order
        made = tuple(patch.name for p, patch in enumerate(self.wants.patches) if ("patch", p) in on)
        box_of = {k[1]: k[2] for k in on if k[0] == "job"}
        choice = Choice(tuple(i for i in self.had if ("item", i) in on), made, box_of, {}, {})
        outside = {
            fork.place
            for patch in choice.patches(self.wants)
            for fork in patch.forks
            if is_outside(choice, patch, fork, self.inventory)
        }
        by_place = {role: {k[1]: k[2] for k in on if k[0] == role and k[1] in outside} for role in ("split", "mix")}
        return Choice(choice.carried, made, box_of, by_place["split"], by_place["mix"])

    def _match_jobs(self, p: int, patch: PatchWants) -> None:
        """A job of a patch is made by one box if the patch is, and that is carried; no box makes too many at once."""
        held: dict[int, list[Key]] = {}
        for j in patch.jobs.values():
            boxes = [self.new(("job", j, g)) for g in self.makers[j]]
            self.row({**dict.fromkeys(boxes, 1.0), ("patch", p): -1.0}, low=0.0, high=0.0)
            for key in boxes:
                self.row({key: 1.0, ("item", key[2]): -1.0}, high=0.0)
                held.setdefault(key[2], []).append(key)
        for g, keys in held.items():
            at_once = self.inventory.gear[g].at_once
            if "at once" not in self.lifted and len(keys) > at_once:
                self.row({**dict.fromkeys(keys, 1.0), ("item", g): -float(at_once)}, high=0.0)

    def _recall_settings(self) -> None:
        """No box holds more settings than it recalls, each of as many blocks as it makes; the rest is checked after."""
        if {"programs", "at once"} & self.lifted:
            return
        for g in self._boxes:
            box = self.inventory.gear[g]
            jobs: dict[Setting, list[int]] = {}
            for j, makers in self.makers.items():
                if g in makers:
                    jobs.setdefault(setting_of(self.wants.jobs[j], box), []).append(j)
            most = box.programs * box.at_once
            if len(jobs) > most:
                holds = [self.new(("holds", setting, g)) for setting in jobs]
                for key, of in zip(holds, jobs.values(), strict=True):
                    self.at_least(key, of, g)
                self.row({**dict.fromkeys(holds, 1.0), ("item", g): -float(most)}, high=0.0)

    def at_least(self, key: Key, jobs: Iterable[int], gear: int) -> None:
        """That variable is 1 where that gear makes one of the jobs."""
        for j in jobs:
            if gear in self.makers[j]:
                self.row({key: 1.0, ("job", j, gear): -1.0}, low=0.0)

    def _connect_pedals(self) -> None:
        """Every pedal that moves what a box makes goes into an input of that box."""
        moved = [(pedal, patch.jobs[block]) for patch in self.wants.patches for pedal, block in patch.pedals]
        for g in self._boxes:
            into: dict[Key, None] = {}
            for pedal, j in moved:
                if g in self.makers[j]:
                    into[self.once(("pedal", pedal, g))] = None
                    self.at_least(("pedal", pedal, g), (j,), g)
            if len(into) > self.inventory.gear[g].pedal_inputs:
                self.row(dict.fromkeys(into, 1.0), high=self.inventory.gear[g].pedal_inputs)

    def _split_and_mix(self) -> None:
        """A fork over several boxes, or past one that keeps no straight sound, has a splitter and a mixer.

        What is bypassed is a wire: boxes that a fork uses in one patch each lie behind each other, and need none.
        """
        lanes: dict[tuple[object, ...], dict[int, Key]] = {}
        straight: dict[tuple[object, ...], bool] = {}
        for p, patch in enumerate(self.wants.patches):
            for fork in patch.forks:
                lanes.setdefault(fork.place, {})
                straight[fork.place] = fork.dry or straight.get(fork.place, False)
                outside = self._outside(p, patch, fork)
                for name in sorted(fork.heads):
                    for g in self.makers[patch.jobs[name]]:
                        lane = lanes[fork.place][g] = self.once(("lane", fork.place, g))
                        self.row({lane: 1.0, ("job", patch.jobs[name], g): -1.0, outside: -1.0}, low=-1.0)
        for place, heads_in in lanes.items():
            self._carry_out(place, list(heads_in.values()), float(straight[place]))
        for role in ("split", "mix"):
            for g in self._boxes:
                own = [(role, place, g) for place in lanes if (role, place, g) in self._numbers]
                if len(own) > 1:
                    self.row(dict.fromkeys(own, 1.0), high=1.0)

    def _outside(self, p: int, patch: PatchWants, fork: Fork) -> Key:
        """Whether a fork of a patch is made outside of boxes: one box makes one of its blocks, and another not."""
        outside = self.new(("outside", fork.place, p))
        self.row({self.once(("outside", fork.place)): 1.0, outside: -1.0}, low=0.0)
        first, *others = (patch.jobs[name] for name in sorted(fork.blocks))
        for g in self.makers[first]:
            for j in others:
                with_it = {("job", j, g): 1.0} if g in self.makers[j] else {}
                self.row({outside: 1.0, ("job", first, g): -1.0, **with_it}, low=0.0)
        if fork.dry:
            for j in (first, *others):
                for g in self.makers[j]:
                    if not self.inventory.gear[g].keeps_dry:
                        self.at_least(outside, (j,), g)
        return outside

    def _carry_out(self, place: tuple[object, ...], lanes: list[Key], straight: float) -> None:
        """If a fork is made outside of boxes, one box splits and one sums, with sockets for all of its lanes."""
        outside, most = ("outside", place), straight + len(lanes)
        for role in ("split", "mix"):
            gear = self.inventory.gear
            sockets = {g: float(gear[g].splits if role == "split" else gear[g].mixes) for g in self._boxes}
            own = {self.new((role, place, g)): count for g, count in sockets.items() if count}
            self.row({**dict.fromkeys(own, 1.0), outside: -1.0}, low=0.0, high=0.0)
            self.row({**own, **dict.fromkeys(lanes, -1.0), outside: -most}, low=straight - most)
            for key in own:
                self.row({key: 1.0, ("item", key[2]): -1.0}, high=0.0)

    def _feed(self) -> None:
        """Every box that is fed has an outlet of its own."""
        gear, supplies = self.inventory.gear, self.inventory.supplies
        drawn: dict[tuple[int, int], list[Key]] = {}
        outlets = [
            (i - len(gear), o, outlet)
            for i in self.had[len(self._boxes) :]
            for o, outlet in enumerate(supplies[i - len(gear)].outlets)
        ]
        for g in self._boxes:
            if gear[g].power == "outlet":
                own = [self.new(("outlet", g, s, o)) for s, o, outlet in outlets if feeds(outlet, gear[g])]
                self.row({**dict.fromkeys(own, 1.0), ("item", g): -1.0}, low=0.0, high=0.0)
                for key in own:
                    drawn.setdefault(key[2:], []).append(key)
        for (s, o), keys in drawn.items():
            item = ("item", len(gear) + s)
            self.row({**dict.fromkeys(keys, 1.0), item: -float(supplies[s].outlets[o].count)}, high=0.0)

    def _weigh(self) -> None:
        """Mass, money, height, and the least that the board must hold."""
        limits, items = self.inventory.limits, self.inventory.items
        if limits.mass_g is not None and "mass" not in self.lifted:
            self.row(self.measure("mass"), high=limits.mass_g)
        if limits.budget is not None and "budget" not in self.lifted:
            self.row(self.measure("price"), high=limits.budget)
        on_board = [i for i in self.had if items[i].on_board]
        if limits.height_mm is not None and "height" not in self.lifted:
            for i in on_board:
                if (items[i].height_mm or 0.0) > limits.height_mm:
                    self.row({("item", i): 1.0}, high=0.0)
        if limits.has_board and "board" not in self.lifted:
            gap = limits.gap_mm
            room = ((limits.board_width_mm or 0.0) + gap) * ((limits.board_depth_mm or 0.0) + gap)
            areas = {i: ((items[i].width_mm or 0.0) + gap) * ((items[i].depth_mm or 0.0) + gap) for i in on_board}
            self.row({("item", i): area for i, area in areas.items()}, high=room)

    def measure(self, by: Measure) -> Terms:
        """How many items are carried, what they weigh in g, or what is spent on them."""
        return {("item", i): weight(self.inventory.items[i], by) for i in self.had}
