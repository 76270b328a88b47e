"""Which gear makes what, as an integer program: one variable for each item, each patch, each job in each box."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, TypeAlias

from chainsim.errors import SettingError
from chainsim.listen.sheets.carry_plan.choice import Choice, Limit, is_outside
from chainsim.listen.sheets.carry_plan.forks import Fork
from chainsim.listen.sheets.carry_plan.integer_program import IntegerProgram
from chainsim.listen.sheets.carry_plan.inventory import Gear, Inventory, cost, feeds
from chainsim.listen.sheets.carry_plan.wants import PatchWants, Wants
from chainsim.units import Array

Key: TypeAlias = tuple[Any, ...]
"""What a variable stands for: ("item", i), ("patch", p), ("job", j, gear), ("split", place, gear), and so on."""
Terms: TypeAlias = Mapping[Key, float]

MOST_VARIABLES = 60_000
MOST_PAIRS = 100_000
"""Of a job in a box and another job in another, of which it counts which comes first."""


class Matching:
    """The integer program of an inventory and what is wanted of it.

    Parameters
    ----------
    inventory : Inventory
    wants : Wants
    lifted : collection of Limit
        Limits that do not hold.
    without : collection of int
        Items that are not to be had.
    """

    def __init__(
        self, inventory: Inventory, wants: Wants, lifted: Collection[Limit] = (), without: Collection[int] = ()
    ) -> None:
        self.inventory, self.wants, self.lifted = inventory, wants, frozenset(lifted)
        self._program = IntegerProgram()
        self._numbers: dict[Key, int] = {}
        self._least = 0.0
        self.passed_over = False
        """Whether choices were forbidden of which no layout was found, though there may be one."""
        items = inventory.items
        makers = [[g for g, box in enumerate(inventory.gear) if job.type_name in box.makes] for job in wants.jobs]
        if len(items) + len(wants.patches) + sum(map(len, makers)) > MOST_VARIABLES:
            raise SettingError("too many items for so many patches; give fewer of them")
        for i, _ in enumerate(items):
            self._new(("item", i), high=0.0 if i in without else 1.0)
        for p, _ in enumerate(wants.patches):
            self._new(("patch", p))
        self._makers = makers
        self._match_jobs()
        for p, patch in enumerate(wants.patches):
            self._fill_boxes(p, patch)
        self._recall_settings()
        if "pedals" not in self.lifted:
            self._connect_pedals()
        if "lanes" not in self.lifted:
            self._split_and_mix()
        if "loops" not in self.lifted:
            self._wire()
        if "outlets" not in self.lifted:
            self._feed()
        self._weigh()

    def require_all(self) -> None:
        """Every patch is to be made."""
        for p, _ in enumerate(self.wants.patches):
            self.row({("patch", p): 1.0}, low=1.0)

    def row(self, terms: Terms, low: float = -float("inf"), high: float = float("inf")) -> None:
        """Keep a sum between two bounds."""
        self._program.row({self._numbers[key]: value for key, value in terms.items()}, low, high)

    def forbid(self, together: Collection[Key]) -> None:
        """These may not all be so."""
        self.row(dict.fromkeys(together, 1.0), high=len(together) - 1.0)

    def keep_at(self, terms: Terms) -> None:
        """Keep a sum as small as it was when it was last minimised."""
        self._program.no_more_than({self._numbers[key]: value for key, value in terms.items()}, self._least)

    def least(self, terms: Terms) -> Choice | None:
        """The choice for which a sum is least; None if there is none."""
        found = self._program.minimise({self._numbers[key]: value for key, value in terms.items()})
        if found is None:
            return None
        self._least = sum(value * float(found[self._numbers[key]]) for key, value in terms.items())
        return self._choice(found)

    def makers(self, job: int) -> Iterator[int]:
        """The gear that can make a job."""
        return iter(self._makers[job])

    def _new(self, key: Key, *, high: float = 1.0, whole: bool = True) -> Key:
        self._numbers[key] = self._program.variable(high=high, whole=whole)
        return key

    def _once(self, key: Key) -> Key:
        return key if key in self._numbers else self._new(key)

    def _choice(self, found: Array) -> Choice:
        on = {key for key, number in self._numbers.items() if found[number] > 0.5}
        made = tuple(patch.name for p, patch in enumerate(self.wants.patches) if ("patch", p) in on)
        needed = {j for patch in self.wants.patches if patch.name in made for j in patch.jobs.values()}
        box_of = {k[1]: k[2] for k in on if k[0] == "job" and k[1] in needed}
        choice = Choice(tuple(i for i, _ in enumerate(self.inventory.items) if ("item", i) in on), made, box_of, {}, {})
        outside = {
            fork.place
            for patch in choice.patches(self.wants)
            for fork in patch.forks
            if is_outside(choice, patch, fork, self.inventory)
        }
        by_place = {role: {k[1]: k[2] for k in on if k[0] == role and k[1] in outside} for role in ("split", "mix")}
        return Choice(choice.carried, made, box_of, by_place["split"], by_place["mix"])

    def _match_jobs(self) -> None:
        """A job of a patch that is made is made by one box, and that is carried."""
        asked: dict[int, list[int]] = {}
        for p, patch in enumerate(self.wants.patches):
            for j in patch.jobs.values():
                asked.setdefault(j, []).append(p)
        for j, patches in asked.items():
            boxes = [self._new(("job", j, g)) for g in self._makers[j]]
            self.row(dict.fromkeys(boxes, 1.0), high=1.0)
            for p in patches:
                self.row({**dict.fromkeys(boxes, 1.0), ("patch", p): -1.0}, low=0.0)
            for key in boxes:
                self.row({key: 1.0, ("item", key[2]): -1.0}, high=0.0)

    def _fill_boxes(self, p: int, patch: PatchWants) -> None:
        """No box makes more blocks of a patch than it can at once."""
        if "at once" in self.lifted:
            return
        for g, box in enumerate(self.inventory.gear):
            jobs = [("job", j, g) for j in patch.jobs.values() if ("job", j, g) in self._numbers]
            if len(jobs) > box.at_once:
                spare = len(jobs) - box.at_once
                self.row({**dict.fromkeys(jobs, 1.0), ("patch", p): spare}, high=box.at_once + spare)

    def _recall_settings(self) -> None:
        """What recalls nothing holds no more settings than it makes blocks at once; the rest is checked afterwards."""
        if {"programs", "at once"} & self.lifted:
            return
        wanted = sorted({j for patch in self.wants.patches for j in patch.jobs.values()})
        for g, box in enumerate(self.inventory.gear):
            jobs = [("job", j, g) for j in wanted if ("job", j, g) in self._numbers]
            if box.programs == 1 and not box.follows_tempo and len(jobs) > box.at_once:
                self.row(dict.fromkeys(jobs, 1.0), high=box.at_once)

    def _at_least(self, key: Key, patch: int, jobs: Iterable[int], gear: int) -> None:
        """`key` is on where that gear makes one of the jobs, and the patch is made."""
        for j in jobs:
            if ("job", j, gear) in self._numbers:
                self.row({key: 1.0, ("job", j, gear): -1.0, ("patch", patch): -1.0}, low=-1.0)

    def _connect_pedals(self) -> None:
        """Every pedal that moves what a box makes goes into an input of that box."""
        for g, box in enumerate(self.inventory.gear):
            into: dict[str, Key] = {}
            for p, patch in enumerate(self.wants.patches):
                for pedal, block in patch.pedals:
                    if ("job", patch.jobs[block], g) in self._numbers:
                        key = into.get(pedal) or self._new(("pedal", pedal, g))
                        into[pedal] = key
                        self._at_least(key, p, [patch.jobs[block]], g)
            if len(into) > box.pedal_inputs:
                self.row(dict.fromkeys(into.values(), 1.0), high=box.pedal_inputs)

    def _split_and_mix(self) -> None:
        """A fork over several boxes, or past one that keeps no straight sound, has a splitter and a mixer.

        What is bypassed is a wire: boxes that a fork uses in one patch each lie behind each other, and need none.
        """
        lanes: dict[tuple[object, ...], dict[int, Key]] = {}
        straight: dict[tuple[object, ...], bool] = {}
        for p, patch in enumerate(self.wants.patches):
            for fork in patch.forks:
                heads, blocks = ([patch.jobs[name] for name in names] for names in (fork.heads, fork.blocks))
                if fork.place not in lanes:
                    self._new(("outside", fork.place))
                    lanes[fork.place] = {}
                straight[fork.place] = fork.dry or straight.get(fork.place, False)
                outside = self._outside(p, fork, frozenset(blocks))
                for j in heads:
                    for g in self.makers(j):
                        lane = self._once(("lane", fork.place, g))
                        lanes[fork.place][g] = lane
                        self.row({lane: 1.0, ("job", j, g): -1.0, outside: -1.0, ("patch", p): -1.0}, low=-2.0)
        for place, heads_in in lanes.items():
            self._carry_out(place, list(heads_in.values()), float(straight[place]))
        for role in ("split", "mix"):
            for g, _ in enumerate(self.inventory.gear):
                own = [(role, place, g) for place in lanes if (role, place, g) in self._numbers]
                if len(own) > 1:
                    self.row(dict.fromkeys(own, 1.0), high=1.0)

    def _outside(self, p: int, fork: Fork, jobs: frozenset[int]) -> Key:
        """Whether a fork of a patch is made outside of boxes; patches that ask for the same jobs share it."""
        outside = ("outside", fork.place, jobs)
        boxes = {g for j in jobs for g in self.makers(j)}
        inside = {g: ("inside", fork.place, jobs, g) for g in boxes}
        if outside not in self._numbers:
            self._new(outside)
            self.row({("outside", fork.place): 1.0, outside: -1.0}, low=0.0)
            for key in inside.values():
                self._new(key)
            if len(inside) > 1:
                self.row({**dict.fromkeys(inside.values(), 1.0), outside: 1.0 - len(inside)}, high=1.0)
        for g, key in inside.items():
            self._at_least(key, p, jobs, g)
            if fork.dry and not self.inventory.gear[g].keeps_dry:
                self._at_least(outside, p, jobs, g)
        return outside

    def _carry_out(self, place: tuple[object, ...], lanes: list[Key], straight: float) -> None:
        """If a fork is made outside of boxes, one box splits and one sums, with sockets for all of its lanes."""
        outside, most = ("outside", place), straight + len(lanes)
        for role in ("split", "mix"):
            room = {g: _sockets(box, role) for g, box in enumerate(self.inventory.gear) if _sockets(box, role)}
            own = {g: self._new((role, place, g)) for g in room}
            self.row({**dict.fromkeys(own.values(), 1.0), outside: -1.0}, low=0.0, high=0.0)
            sockets = {own[g]: float(count) for g, count in room.items()}
            self.row({**sockets, **dict.fromkeys(lanes, -1.0), outside: -most}, low=straight - most)
            for g, key in own.items():
                self.row({key: 1.0, ("item", g): -1.0}, high=0.0)

    def _wire(self) -> None:
        """Boxes are wired in one order; those of which patches ask for several go into loops."""
        asked: dict[tuple[str, int, int], list[int]] = {}
        for p, patch in enumerate(self.wants.patches):
            for relation, blocks in (("before", patch.before), ("beside", patch.beside)):
                for a, b in blocks:
                    asked.setdefault((relation, patch.jobs[a], patch.jobs[b]), []).append(p)
        if sum(len(self._makers[a]) * len(self._makers[b]) for _, a, b in asked) > MOST_PAIRS:
            raise SettingError("too many items for so many patches; give fewer of them")
        pairs: dict[Key, None] = {}
        for (relation, one, other), patches in asked.items():
            self._relate(relation, (one, other), patches, pairs)
        turned: dict[frozenset[int], Key] = {}
        for _, g, h in [key for key in pairs if key[0] == "before"]:
            otherwise: tuple[Key, ...] = (("before", h, g), ("beside", min(g, h), max(g, h)))
            for other_way in otherwise:
                if other_way in pairs:
                    both = frozenset((g, h))
                    turned[both] = turned.get(both) or self._new(("turned", both))
                    self.row({("before", g, h): 1.0, other_way: 1.0, turned[both]: -1.0}, high=1.0)
        looped: dict[int, Key] = {}
        for both, key in turned.items():
            for g in both:
                looped[g] = self._once(("looped", g))
                self.row({looped[g]: 1.0, key: -1.0}, low=0.0)
        loops: dict[Key, float] = {("item", g): -float(box.loops) for g, box in enumerate(self.inventory.gear)}
        if looped:
            self.row({**dict.fromkeys(looped.values(), 1.0), **loops}, high=0.0)

    def _relate(self, relation: str, jobs: tuple[int, int], patches: Collection[int], pairs: dict[Key, None]) -> None:
        """Two boxes stand to each other as the jobs that they make do in some patch that is made."""
        a, b = jobs
        together = self._new(("together", relation, a, b))
        for p in patches:
            self.row({together: 1.0, ("patch", p): -1.0}, low=0.0)
        for g in self.makers(a):
            for h in self.makers(b):
                if g != h:
                    key = (relation, g, h) if relation == "before" else (relation, min(g, h), max(g, h))
                    pairs[self._once(key)] = None
                    made = {("job", a, g): -1.0, ("job", b, h): -1.0}
                    self.row({key: 1.0, **made, together: -1.0}, low=-2.0)

    def _feed(self) -> None:
        """Every box that is fed has an outlet of its own."""
        gear, supplies = self.inventory.gear, self.inventory.supplies
        drawn: dict[tuple[int, int], list[Key]] = {}
        for g, box in enumerate(gear):
            if box.power != "outlet":
                continue
            own = []
            for s, supply in enumerate(supplies):
                for o, outlet in enumerate(supply.outlets):
                    if feeds(outlet, box):
                        own.append(self._new(("outlet", g, s, o)))
                        drawn.setdefault((s, o), []).append(own[-1])
            self.row({**dict.fromkeys(own, 1.0), ("item", g): -1.0}, low=0.0, high=0.0)
        for (s, o), keys in drawn.items():
            item = ("item", len(gear) + s)
            self.row({**dict.fromkeys(keys, 1.0), item: -float(supplies[s].outlets[o].count)}, high=0.0)

    def _weigh(self) -> None:
        """Mass, money, height, and the least that the board must hold."""
        limits, items = self.inventory.limits, self.inventory.items
        if limits.mass_g is not None and "mass" not in self.lifted:
            self.row(self.masses(), high=limits.mass_g)
        if limits.budget is not None and "budget" not in self.lifted:
            self.row(self.costs(), high=limits.budget)
        on_board = [i for i, item in enumerate(items) if item.on_board]
        if limits.height_mm is not None and "height" not in self.lifted:
            for i in on_board:
                if (items[i].height_mm or 0.0) > limits.height_mm:
                    self.row({("item", i): 1.0}, high=0.0)
        if limits.has_board and "board" not in self.lifted:
            gap = limits.gap_mm
            room = ((limits.board_width_mm or 0.0) + gap) * ((limits.board_depth_mm or 0.0) + gap)
            areas = {i: ((items[i].width_mm or 0.0) + gap) * ((items[i].depth_mm or 0.0) + gap) for i in on_board}
            self.row({("item", i): area for i, area in areas.items()}, high=room)

    def counts(self) -> Terms:
        """How many items are carried."""
        return {("item", i): 1.0 for i, _ in enumerate(self.inventory.items)}

    def masses(self) -> Terms:
        """What they weigh, in g."""
        return {("item", i): item.mass_g or 0.0 for i, item in enumerate(self.inventory.items)}

    def costs(self) -> Terms:
        """What is spent on them."""
        return {("item", i): cost(item) for i, item in enumerate(self.inventory.items)}

    def places(self) -> Terms:
        """Of equals, those that stand first in the inventory."""
        return {("item", i): i + 1.0 for i, _ in enumerate(self.inventory.items)}

    def spread(self) -> Terms:
        """In how many boxes each block is made, over all patches."""
        terms: dict[Key, float] = {}
        for patch in self.wants.patches:
            for block, job in patch.jobs.items():
                for g in self._makers[job]:
                    home = self._once(("home", block, g))
                    terms[home] = 1.0
                    self.row({home: 1.0, ("job", job, g): -1.0}, low=0.0)
        return terms

    def unmade(self) -> Terms:
        """How many patches are not made, each worth more than all items; then how many items are carried."""
        counts = self.counts()
        return {**counts, **{("patch", p): -(1.0 + len(counts)) for p, _ in enumerate(self.wants.patches)}}


def _sockets(box: Gear, role: str) -> int:
    return box.splits if role == "split" else box.mixes
