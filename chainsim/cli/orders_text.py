"""What `chainsim orders` tells: groups with their figures, what they have in common, what exchanges do."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from chainsim.batch.orders.grouping import AUDIBLE_STEPS
from chainsim.batch.orders.hearing import SILENT_DBFS, beside
from chainsim.cli.common import counted, number, table

if TYPE_CHECKING:
    from chainsim.batch.orders.report import OrderGroup, Orders
    from chainsim.batch.orders.swaps import Swap
    from chainsim.batch.sounds.sound_figures import SoundFigures

MOST_LINES = 15
MANY_GROUPS, FEW_GROUPS = 8, 5
HEAD = ("LUFS", "dBTP", "rests dBFS", "openings", "tail s", "centroid Hz", "latency ms")


def orders_text(found: Orders) -> Iterator[str]:
    """The whole report, line by line."""
    yield from _counts(found)
    yield ""
    yield from _groups(found)
    yield ""
    yield from _commons(found)
    yield from _hints(found)
    if found.swaps:
        yield "\nWhat it does to exchange two neighbours:"
        yield from _some(_swaps(found.swaps))
    if found.forks:
        yield "\nWhat it does to set side by side what stood in series:"
        yield from _some(_swaps(found.forks))


def swap_text(found: Orders) -> Iterator[str]:
    """Two orders, line by line."""
    yield from found.notes
    yield from _left_out(found)
    if len(found.orders) < 2:
        return
    (one, other), apart = found.orders, float(found.distances[0, 1])
    residual_db = float(found.residuals_db[0, 1])
    if len(found.identical) == 1:
        yield f"The same sound: what is left of one when the other is taken from it is {_residual(residual_db)}."
    else:
        heard = "plainly different" if apart > 3.0 else "audibly different" if apart > 1.0 else "hard to tell apart"
        where = " on the take where they differ most" if len(found.takes) > 1 else ""
        yield (
            f"{number(apart)} steps apart{where}, of which 1 is just audible: {heard};"
            f" {_residual(residual_db)} is left."
        )
    yield ""
    rows = [
        (f"{order.name}{' (as written)' if order.variant.as_written else ''}{take}", *_cells(figures))
        for order in (one, other)
        for take, figures in zip(_over(found), order.figures, strict=True)
    ]
    yield table(("", *HEAD), rows)
    if heard := beside(other.figures[0], one.figures[0]):
        yield f"The second is, beside the first{_over(found)[0]}: {heard}."


def _counts(found: Orders) -> Iterator[str]:
    tried = f"{len(found.orders):,} orders" if len(found.orders) > 1 else "1 order"
    of = (
        f" of {found.possible:,} that the rules allow"
        if found.possible > len(found.orders) + len(found.left_out)
        else ""
    )
    takes = ", ".join(Path(take).name for take in found.takes)
    yield f"{found.title}: {tried}{of}, over {takes}"
    if found.reused:
        yield f"{found.reused} of {len(found.orders) * len(found.takes)} sounds were there"
    if found.block_runs:
        yield f"{found.block_runs:,} block runs instead of {found.single_block_runs:,}"
    yield from found.notes
    yield from _left_out(found)
    identical = [one for one in found.identical if len(one.members) > 1]
    if identical:
        left = _residual(max(one.worst_null_db for one in identical))
        these = "it" if len(found.identical) == 1 else "one of these"
        yield f"{counted(len(found.identical), 'different sound')}: the others null against {these} ({left} is left)"


def _left_out(found: Orders) -> Iterator[str]:
    for reason in dict.fromkeys(found.left_out.values()):
        names = [name for name, why in found.left_out.items() if why == reason]
        yield f"left out, {counted(len(names), 'order')}: {reason.splitlines()[0]} (such as {names[0]})"


def _groups(found: Orders) -> Iterator[str]:
    yield _within(found)
    take = f" (figures{_over(found)[0]})" if len(found.takes) > 1 else ""
    rows = []
    for k, group in enumerate(found.groups, start=1):
        figures = found.orders[group.representative].figures[0]
        widest, nearest = number(group.group.diameter_steps), number(group.group.nearest_steps)
        rows.append((str(k), str(len(group.members)), str(group.group.sounds), widest, nearest, *_cells(figures)))
    yield table((f"group{take}", "orders", "sounds", "widest", "to next", *HEAD), rows)


def _within(found: Orders) -> str:
    """How far orders of one group are apart, and why that may be more than is just audible."""
    largest = max(group.group.diameter_steps for group in found.groups)
    steps = f"{number(largest)} steps apart, of which 1 is just audible"
    asked = ", as --groups asks" if largest > found.threshold_steps else ""
    if len(found.groups) > 1:
        return f"{len(found.groups)} groups{asked}; within one no two orders are more than {steps}:"
    if len(found.orders) == 1:
        return "Only one order: there is none to compare it with."
    if largest <= min(AUDIBLE_STEPS, found.threshold_steps):
        return f"All sound alike: no two are more than {steps}."
    return f"One group{asked}: no two of its orders are more than {steps}."


def _over(found: Orders) -> list[str]:
    """Over which take figures are, where there are several."""
    return [f" over {Path(take).name}" if len(found.takes) > 1 else "" for take in found.takes]


def _commons(found: Orders) -> Iterator[str]:
    """Each group's representative, what one hears of it beside the first one, and what its members have in common."""
    first = found.orders[found.groups[0].representative]
    written = next((i for i, order in enumerate(found.orders) if order.variant.as_written), None)
    for k, group in enumerate(found.groups, start=1):
        order = found.orders[group.representative]
        own = written in group.members and len(found.orders) > 1
        here = "" if not own else " (as written)" if order.variant.as_written else " (the order as written is in it)"
        heard = beside(order.figures[0], first.figures[0]) if k > 1 else ""
        yield f"{k}  {order.name}{here}{f': {heard} than 1' if heard else ''}"
        if len(found.groups) > 1 and len(group.members) > 1:
            yield f"   {_common(group)}"


def _common(group: OrderGroup) -> str:
    common, members = group.common, len(group.members)
    if not common.rules:
        return common.text
    some = f" ({common.followers} of {members})" if common.followers < members else ""
    alike = f"; so have {common.others} of {common.outside} others" if common.others else ""
    return f"they have {common.text}{some}{alike}"


def _hints(found: Orders) -> Iterator[str]:
    if found.possible > len(found.orders) + len(found.left_out):
        yield f"This is said of the {len(found.orders)} orders that were tried, not of all {found.possible:,}."
    if len(found.groups) > MANY_GROUPS:
        yield f"Too many to hear? --groups {FEW_GROUPS} gathers those that are nearest to each other."


def _swaps(swaps: tuple[Swap, ...]) -> Iterator[str]:
    yield from (f"  {swap}" for swap in swaps)


def _some(lines: Iterator[str]) -> Iterator[str]:
    yield from islice(lines, MOST_LINES)
    if left := sum(1 for _ in lines):
        yield f"  and {left} more, in orders.json"


def _cells(figures: SoundFigures) -> Iterator[str]:
    yield number(figures.integrated_lufs)
    yield number(figures.true_peak_dbtp)
    yield "silent" if figures.rests_dbfs < SILENT_DBFS else number(figures.rests_dbfs)
    yield "-" if figures.gate_openings is None else str(figures.gate_openings)
    yield number(figures.tail_s)
    yield number(figures.centroid_hz, 0)
    yield number(figures.latency_ms)


def _residual(residual_db: float) -> str:
    return "nothing" if residual_db == -math.inf else f"{residual_db:.0f} dB"
