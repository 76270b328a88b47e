"""The words of the carry plan, the same in the text and on the page."""

from __future__ import annotations

import math
from collections.abc import Sequence

from chainsim.listen.sheets.carry_plan.packing import out_of_reach
from chainsim.listen.sheets.carry_plan.plan import Carried, CarryPlan, LostPatch, MadePatch, Spare, Total
from chainsim.listen.sheets.carry_plan.power import Feed

_SMALL = {"boxes": "the fewest boxes", "mass": "the lightest", "price": "the cheapest"}
_INSTEAD_OF_OUTLETS = {
    "battery": "from its own battery",
    "mains": "from the mains, by a lead of its own",
    "none": "needs no power",
}


def head_line(plan: CarryPlan) -> str:
    """How many patches can be made, and of what."""
    made, wanted = len(plan.made), len(plan.made) + len(plan.lost)
    patches = "patch" if wanted == 1 else "patches"
    whole = f"{made} of {wanted} {patches} can be made" if plan.lost else f"makes {_all(wanted)}"
    return f"From {plan.inventory}: {whole}"


def _all(count: int) -> str:
    return {1: "its one patch", 2: "both patches"}.get(count, f"all {count} patches")


def chosen_text(plan: CarryPlan) -> str:
    """What was to be small, one after the other, and what could not be, for want of figures."""
    first, *others = (_SMALL[goal] for goal in plan.goals)
    text = f"{first}; of equals {', then '.join(others)}" if others else first
    missing = [word for goal, word in (("mass", "mass"), ("price", "price")) if goal not in plan.goals]
    return f"{text}; not every {' and '.join(missing)} is known" if missing else text


def reason_lines(lost: LostPatch) -> list[str]:
    """Why a patch cannot be made: what is in the way together, or of what any one would do."""
    beside = [] if lost.alone else ["alone it could; beside the others:"]
    if len(lost.ways) > 1:
        return [*beside, "any one of these, mended, would do:", *(f"- {', and '.join(way)}" for way in lost.ways)]
    (way,) = lost.ways
    return [*beside, *way] if len(way) == 1 else [*beside, "all of these are in the way:", *(f"- {x}" for x in way)]


def total_text(total: Total) -> str:
    """A total and its limit: "5860 g of 9000 g"."""
    value = ("at least " if total.at_least else "") + _figure(total.value, total.unit)
    return value if total.limit is None else f"{value} of {_figure(total.limit, total.unit)} allowed"


def _figure(value: float, unit: str) -> str:
    return f"{round(value, 2):.12g} {unit}".rstrip()


def mass_text(item: Carried) -> str:
    """What it weighs."""
    return "not known" if item.mass_g is None else _figure(item.mass_g, "g")


def price_text(item: Carried, plan: CarryPlan) -> str:
    """What is to be paid for it."""
    if item.owned:
        return "yours"
    return "price not known" if item.price is None else f"to buy, {_figure(item.price, currency(plan))}"


def currency(plan: CarryPlan) -> str:
    """What prices are in."""
    return next(total.unit for total in plan.totals if total.what == "to be bought")


def work_lines(item: Carried, plan: CarryPlan) -> list[str]:
    """What an item does, a line for each thing."""
    everywhere = [work.block for work in item.work if work.patches is None]
    lines = [f"{', '.join(everywhere)}: in {'every' if len(plan.made) > 1 else 'the'} patch"] if everywhere else []
    lines += [f"{work.block}: {', '.join(work.patches)}" for work in item.work if work.patches is not None]
    lines += item.roles
    if item.settings_held > 1:
        how = "turned by hand between patches" if item.turned_by_hand else "recalled by foot"
        lines.append(f"holds {item.settings_held} settings, {how}")
    if item.latency_ms:
        lines.append(f"lets the sound out {item.latency_ms:g} ms late")
    if item.is_supply:
        fed = [feed.box for feed in plan.feeds if feed.supply == item.name]
        lines.append(f"feeds {', '.join(fed)}" if fed else "feeds nothing")
    return lines


def feed_text(feed: Feed) -> str:
    """What a box draws of what its outlet gives, in mA."""
    return f"{feed.draws_ma:g} of {feed.gives_ma:g}"


def unplugged_text(power: str) -> str:
    """What feeds a box that takes no outlet."""
    return _INSTEAD_OF_OUTLETS[power]


def patch_text(patch: MadePatch) -> str:
    """Through which boxes a patch goes."""
    return "; ".join(f"{box} ({', '.join(blocks)})" for box, blocks in patch.boxes) or "nothing: the horn alone"


def spare_text(spare: Spare, plan: CarryPlan) -> str:
    """What is left to play without an item."""
    if not spare.settled:
        return "not settled: too many ways to try"
    others = f" with {', '.join(spare.instead)} in its place" if spare.instead else ""
    if not spare.lost:
        return f"all patches still,{others}" if others else "all patches still"
    if len(spare.lost) == len(plan.made):
        return "no patch is left: take a second one, or play the horn alone"
    return f"lost: {', '.join(spare.lost)}" + (f"; the others{others}" if others else "")


def board_text(plan: CarryPlan) -> str:
    """How large the board is."""
    return "" if plan.board_mm is None else f"{plan.board_mm[0]:g} x {plan.board_mm[1]:g} mm"


def label_lines(name: str, width_mm: float, depth_mm: float, size_mm: float) -> tuple[str, ...]:
    """A name in lines that go into a box drawn to scale; what does not go in ends in dots."""
    across = max(2, math.floor(width_mm / (0.56 * size_mm)))
    down = max(1, math.floor(depth_mm / (1.2 * size_mm)))
    lines: list[str] = []
    for word in name.split():
        if lines and len(lines[-1]) + 1 + len(word) <= across:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    shown = [_cut(line, across) for line in lines[:down]]
    if len(lines) > down:
        shown[-1] = _cut(shown[-1] + "...", across)
    return tuple(shown)


def _cut(line: str, most: int) -> str:
    return line if len(line) <= most else line[: max(most - 3, 1)].rstrip(".") + "..."[: max(most - 1, 1)]


def alarms(plan: CarryPlan) -> Sequence[str]:
    """What to look at before packing."""
    unweighed = [item.name for item in plan.carried if item.mass_g is None]
    found = [
        f"{total.what}: {total_text(total)}: hardly anything to spare"
        for total in plan.totals
        if total.limit and total.unit != "ms" and 0.95 * total.limit < total.value
    ]
    found += [
        f"{total.what}: {total_text(total)}: what {', '.join(unweighed)} weighs is not known; weigh it, and set mass_g"
        for total in plan.totals
        if total.what == "mass" and total.limit is not None and total.at_least
    ]
    if plan.passed_over:
        found.append(
            "a smaller choice may fit the board: no layout was found for one, which does not say there is none"
        )
    behind = out_of_reach([laid.place for laid in plan.layout], [laid.front for laid in plan.layout])
    found += [
        f"{plan.layout[i].name} is pressed by foot and lies behind what is not: no layout was found with it in front"
        for i in behind
    ]
    if plan.unsettled is not None:
        of = plan.unsettled
        unit = {"boxes": "boxes and supplies", "mass": "g", "price": currency(plan)}[of.measure]
        found.append(
            f"not settled in the time there was: {_figure(of.found, unit)} found, {_figure(of.least, '')} not ruled out"
        )
    return found + [
        f"{feed.box} draws {feed.draws_ma:g} of the {feed.gives_ma:g} mA of its outlet: hardly anything to spare"
        for feed in plan.feeds
        if feed.draws_ma > 0.95 * feed.gives_ma
    ]
