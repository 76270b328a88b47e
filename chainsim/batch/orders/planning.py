"""What moves, and under which rules: those of a sketch, those given beside it, and what is usual."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import pairwise

from chainsim.batch.orders.constraints import Rule, orders_under, rules_on
from chainsim.batch.orders.counting import MOST_UNITS, Orders
from chainsim.batch.orders.units import Series
from chainsim.errors import SketchError, nearest
from chainsim.sketch.chain import BlockStep, block_names
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.ordering import OrderRules

OPENING = ("noise_gate",)
CLOSING = ("reverb", "convolver")


@dataclass(frozen=True)
class Plan:
    """What is done with a sketch.

    Attributes
    ----------
    sketch : Sketch
    series : Series
        The chain in which blocks move.
    moved : tuple of int
        Which of its units do.
    rules : tuple of Rule
        On these, by their index among `moved`.
    orders : Orders
    as_written : int or None
        The number of the order as written; None if rules exclude it.
    notes : tuple of str
    """

    sketch: Sketch
    series: Series
    moved: tuple[int, ...]
    rules: tuple[Rule, ...]
    orders: Orders
    as_written: int | None
    notes: tuple[str, ...]


def notes_of_a_set(sketch: Sketch) -> tuple[str, ...]:
    """What is to be said of a sketch of which only the chain as written is tried."""
    parts = [word for word, there in (("patches", sketch.patches), ("cues", sketch.cues)) if there]
    if not parts or sketch.patch is not None:
        return ()
    other = "; --patch NAME tries one of them" if sketch.patches else ""
    return (f"the chain as written is tried, {' and '.join(parts)} play no part{other}",)


def plan(sketch: Sketch, given: OrderRules) -> Plan:
    """Join rules, find what moves, and count its orders.

    Raises
    ------
    SketchError
        If that cannot be.
    """
    notes: list[str] = []
    own, state = sketch.orders, sketch.base
    faults = _faults(given, state, "")
    if sketch.patch is None:
        faults += _faults(own, state, "orders.")
    else:  # the rules of a sketch are those of its patches, which need not have all of its blocks
        there = [name for name in block_names(state.chain) if _moves_something(name, state)]
        own = _kept(own, there, f'since it does nothing in the patch "{sketch.patch}"', notes)
    if faults:
        raise SketchError(faults)
    names = given.move or own.move
    if sketch.orders.move and not names:
        raise SketchError(f'orders.move: nothing of what it names does anything in the patch "{sketch.patch}"')
    series = Series.holding(state, names)
    moved = _named(series, names) if names else _usual(series, own.joined(given), notes)
    if len(moved) < 2:
        raise SketchError(f"{_told(series, moved)}: an order needs two that change places")
    if len(moved) > MOST_UNITS:
        raise SketchError(f"{len(moved)} blocks that change places, allowed {MOST_UNITS}: say which to move")
    index = {name: i for i, place in enumerate(moved) for name in series.units[place].blocks}
    if given.move:
        own = _kept(own, index, "since it does not move", notes)
    joined = own.joined(given)
    notes.extend(
        f'{kind}: "{", ".join(lists[0])}", since the sketch says "{", ".join(of_sketch[0])}"'
        for kind, lists in joined.named().items()
        if kind in ("first", "last") and (of_sketch := own.named()[kind]) and set(lists[0]) != set(of_sketch[0])
    )
    still = [
        f'{kind}: "{name}" does not move; what does: {_told(series, moved)}'
        for kind, lists in joined.named().items()
        for name in dict.fromkeys(name for names in lists for name in names)
        if name not in index
    ]
    if still:
        raise SketchError(still)
    rules = rules_on(joined, index)
    joined_places = _joined(series, moved)
    orders = orders_under(rules, joined_places)
    broken = [rule.text for rule in rules if not rule.kept_as_written(joined_places)]
    if broken:
        told = " and ".join(f'"{text}"' for text in broken)
        notes.append(f"the order as written is left out: it breaks {told}")
    number = None if broken else orders.number(tuple((i,) for i in range(len(moved))))
    return Plan(sketch, series, moved, tuple(rules), orders, number, tuple(notes))


def _faults(rules: OrderRules, state: State, place: str) -> list[str]:
    """Names that are not there, or whose place makes no difference."""
    in_chain = list(block_names(state.chain))
    found = []
    for kind, lists in rules.named().items():
        for name in dict.fromkeys(name for names in lists for name in names):
            if name not in in_chain:
                found.append(f'{place}{kind}: "{name}" is not in the chain{nearest(name, in_chain)}')
            elif not _moves_something(name, state):
                found.append(f'{place}{kind}: "{name}" is not engaged; its place makes no difference')
        for names in lists:
            if kind not in ("first", "last") and len(set(names)) < 2:
                found.append(f'{place}{kind}: only "{names[0]}", allowed two or more')
            else:
                twice = [name for name in dict.fromkeys(names) if names.count(name) > 1]
                found += [f'{place}{kind}: "{name}" stands there {names.count(name)} times' for name in twice]
    return found


def _moves_something(name: str, state: State) -> bool:
    """Whether the unit of the whole chain that holds a block does anything."""
    series = Series.holding(state, ())
    place = series.place_of(name)
    return place is not None and series.units[place].engaged and state.blocks[name].common.engaged


def _kept(rules: OrderRules, names: Collection[str], why: str, notes: list[str]) -> OrderRules:
    """The rules as far as they are on these names; what says nothing any more is noted."""
    for kind, lists in rules.named().items():
        gone = dict.fromkeys(name for each in lists for name in each if name not in names)
        notes.extend(f'orders.{kind}: "{name}" is left aside, {why}' for name in gone)
    return OrderRules(
        move=_left(rules.move, names),
        first=_left(rules.first, names),
        last=_left(rules.last, names),
        before=tuple(pair for pair in rules.before if set(pair) <= set(names)),
        together=_left_sets(rules.together, names),
        side_by_side=_left_sets(rules.side_by_side, names),
    )


def _left(listed: Iterable[str], names: Collection[str]) -> tuple[str, ...]:
    return tuple(name for name in listed if name in names)


def _left_sets(sets: Iterable[tuple[str, ...]], names: Collection[str]) -> tuple[tuple[str, ...], ...]:
    return tuple(left for left in (_left(each, names) for each in sets) if len(left) > 1)


def _named(series: Series, names: Collection[str]) -> tuple[int, ...]:
    """The places of what is named; two names for one unit are a fault."""
    found: dict[int, str] = {}
    faults = []
    for name in names:
        place = series.place_of(name)
        assert place is not None
        if place in found:
            faults.append(f'move: "{found[place]}" and "{name}" stand in one fork, which moves as a whole')
        found[place] = name
    if faults:
        raise SketchError(faults)
    return tuple(sorted(found))


def _usual(series: Series, rules: OrderRules, notes: list[str]) -> tuple[int, ...]:
    """All that does something; a gate that opens the chain and a reverb that closes it stay, unless rules name them."""
    engaged = [i for i, unit in enumerate(series.units) if unit.engaged]
    ruled = {name for lists in rules.named().values() for names in lists for name in names}
    staying = []
    for kinds, place, end in ((OPENING, engaged[:1], "first"), (CLOSING, engaged[-1:], "last")):
        for i in place:
            unit = series.units[i]
            if isinstance(unit.step, BlockStep) and unit.name not in ruled:
                kind = series.state.blocks[unit.name].type_name
                if kind in kinds:
                    staying.append(i)
                    notes.append(f'"{unit.name}" stays {end}, as a {kind} does unless a rule or move names it')
    return tuple(i for i in engaged if i not in staying)


def _joined(series: Series, moved: tuple[int, ...]) -> tuple[bool, ...]:
    """For each place, whether it is next to the one before: between them stands nothing that does something."""
    gaps = (series.units[a + 1 : b] for a, b in pairwise(moved))
    return (True, *(not any(unit.engaged for unit in between) for between in gaps))


def _told(series: Series, moved: Collection[int]) -> str:
    return ", ".join(series.units[i].name for i in moved) or "nothing"
