"""The orders of a sketch's blocks as sketches: as many as the rules leave, or a sample of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from chainsim.batch.orders.counting import Order
from chainsim.batch.orders.planning import Plan, notes_of_a_set, plan
from chainsim.batch.orders.side_by_side import side_by_side
from chainsim.batch.orders.units import bracketed
from chainsim.errors import SettingError, SketchError, nearest
from chainsim.sketch.chain import Step
from chainsim.sketch.fork_numbers import numbered
from chainsim.sketch.model import Sketch
from chainsim.sketch.ordering import OrderRules
from chainsim.sketch.written_out import written_out

MOST_ORDERS = 720

UnitName: TypeAlias = str | tuple[str, ...]
"""A unit, or several side by side."""
Standing: TypeAlias = Literal["before", "after", "beside"]


@dataclass(frozen=True)
class Variant:
    """A sketch with its blocks in one order.

    Attributes
    ----------
    name : str
        "drive > wah > plate", or with lanes "gate > [echo | plate] > drive".
    units : tuple of str or tuple of str
        What stands in series from the first to the last place of what moves; several side by side are one entry.
    sketch : Sketch
        In memory, one state: chain and blocks are those of this order, the text is that of the sketch as written.
    as_written : bool
    """

    name: str
    units: tuple[UnitName, ...]
    sketch: Sketch
    as_written: bool

    def relation(self, unit: str, other: str) -> Standing:
        """Whether a unit stands before another, after it, or beside it.

        Raises
        ------
        SettingError
            If there is no such unit.
        """
        place, other_place = self._place(unit), self._place(other)
        if place == other_place:
            return "beside"
        return "before" if place < other_place else "after"

    def text(self) -> str:
        """The text of a sketch file that sounds as this order does.

        Raises
        ------
        SketchError
            If it cannot be written without changing more; it says what to write by hand.
        """
        return written_out(self.sketch, f"{self.sketch.title}: {self.name}")

    def _place(self, unit: str) -> int:
        entries = [entry if isinstance(entry, tuple) else (entry,) for entry in self.units]
        place = next((i for i, entry in enumerate(entries) if unit in entry), None)
        if place is None:
            raise SettingError(f'no unit "{unit}"{nearest(unit, [name for entry in entries for name in entry])}')
        return place


@dataclass(frozen=True)
class OrderSet:
    """The orders that rules leave.

    Attributes
    ----------
    count : int
        How many there are, be they made or not.
    variants : tuple of Variant
        In a fixed order: as written first, the others as in a lexicon whose letters are the units as written.
    notes : tuple of str
        What was taken for granted: what stays in its place, which rules say nothing here.
    """

    count: int
    variants: tuple[Variant, ...]
    notes: tuple[str, ...]


def order_variants(
    sketch: Sketch, rules: OrderRules | None = None, *, sample: int | None = None, seed: int = 0
) -> OrderSet:
    """The sketch in every order that its rules and the given ones leave, or in a sample of these.

    Parameters
    ----------
    sketch : Sketch
        Its chain as written is what is tried; `sketch.alone(patch)` makes that a patch's.
    rules : OrderRules, optional
        Added to the sketch's own; if they say what moves, that holds, and what the sketch says of others says nothing.
    sample : int, optional
        Make so many, drawn evenly and none twice; the order as written is one of them, if it is allowed.
    seed : int
        Of the sample.

    Returns
    -------
    OrderSet

    Raises
    ------
    SketchError
        If rules contradict each other or name what does not move, or if there are more than `MOST_ORDERS` orders and
        no sample is asked for.
    """
    if sample is not None and not 1 <= sample <= MOST_ORDERS:
        raise SettingError(f"a sample of {sample:,} orders, allowed 1 ... {MOST_ORDERS}")
    found = plan(sketch if sketch.patch is not None else sketch.alone(), OrderRules() if rules is None else rules)
    count, written = found.orders.count, found.as_written
    for rule in found.rules:
        if rule.lanes:  # what cannot be side by side is told, whether a sample holds it or not
            side_by_side([found.series.units[found.moved[u]] for u in rule.together], found.series.state)
    if sample is not None and sample < count:
        numbers = found.orders.drawn(sample, seed, written)
    elif count <= MOST_ORDERS:
        numbers = list(range(count))
    else:
        raise SketchError(
            f"{count:,} orders, at most {MOST_ORDERS} are rendered: move fewer blocks, add rules,"
            f"{' try one patch with --patch,' if sketch.patches else ''} or take a sample with --sample 200"
        )
    numbers.sort(key=lambda number: (number != written, number))
    variants = (_variant(found, found.orders.order(number), number == written) for number in numbers)
    return OrderSet(count, tuple(variants), (*notes_of_a_set(sketch), *found.notes))


def swap_variants(sketch: Sketch, one: str, other: str) -> tuple[Variant, Variant]:
    """The sketch as written, and with two of its blocks exchanged; rules say nothing here.

    Parameters
    ----------
    sketch : Sketch
        As for `order_variants`.
    one, other : str
        Blocks of one chain, next to each other or not.

    Raises
    ------
    SketchError
        If one is not there, does nothing, or stands in another chain.
    """
    try:
        found = order_variants(replace(sketch, orders=OrderRules()), OrderRules(move=(one, other)))
    except SketchError as error:
        raise SketchError(line.replace("move: ", "swap: ", 1) for line in error.faults) from error
    written, exchanged = found.variants
    return written, exchanged


def _variant(found: Plan, order: Order, as_written: bool) -> Variant:
    series, state = found.series, found.series.state
    first, last = found.moved[0], found.moved[-1]
    steps: list[Step] = []
    names: list[UnitName] = []
    blocks = dict(state.blocks)
    coming = iter(order)
    filled = 0
    for place, unit in enumerate(series.units):
        if place in found.moved:
            if filled:  # by what stands side by side
                filled -= 1
                continue
            units = [series.units[found.moved[u]] for u in next(coming)]
            filled = len(units) - 1
        else:
            units = [unit]
        if len(units) > 1:
            step, changed = side_by_side(units, state)
            steps.append(step)
            blocks.update(changed)
            names.append(tuple(u.name for u in units))
        else:
            steps.append(units[0].step)
            if first <= place <= last and units[0].engaged:
                names.append(units[0].name)
    chain = numbered(series.chain_with(tuple(steps)))
    sketch = replace(found.sketch, base=replace(state, chain=chain, blocks=blocks))
    return Variant(" > ".join(map(_told, names)), tuple(names), sketch, as_written)


def _told(name: UnitName) -> str:
    return bracketed(name) if isinstance(name, str) else f"[{' | '.join(map(bracketed, name))}]"
