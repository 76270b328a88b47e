"""What a group of orders has in common: who stands before, after or beside whom.

A relation between two units is a fact about an order. Those that all members share, and no others, make the strongest
rule that holds for the whole group; the fewest of them that let through no more other orders are its shortest form.
That is a set cover: every order to be kept out needs a relation that keeps it out. Where such a rule also fits other
orders, or the members share no relation, the group is split in two by one or two relations, and each part gets a rule:
one of the two must hold.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.batch.orders.relation_words import Relation, in_words
from chainsim.errors import SettingError

Arrangement: TypeAlias = Sequence[str | tuple[str, ...]]
"""Units in series; those in a tuple stand in lanes next to each other."""

MOST_TRIALS = 20_000
"""Sets of relations tried for the fewest; where there are more, they are chosen one by one."""

MOST_RELATIONS_OF_TWO = 6
"""A rule of two parts that needs more relations is no help to a reader."""

MOST_SPLIT_BY_TWO = 60
"""With more relations than that, groups are split by single ones only."""

MOST_SPLITS_SHORTENED = 32
"""Of the splits that serve equally well, so many are written out to see which is the shortest."""

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Common:
    """What the members of a group have in common.

    Attributes
    ----------
    rules : tuple of tuples of Relation
        Every member follows one of these rules, which is to say all relations in it. One rule without relations: the
        group holds all orders. No rule: none was found that tells this group from the others.
    text : str
        The same in words.
    others : int
        How many orders outside the group follow one of the rules as well; 0: the rules tell the group exactly.
    outside : int
        How many orders are outside the group.
    """

    rules: tuple[tuple[Relation, ...], ...]
    text: str
    others: int
    outside: int


@dataclass(frozen=True)
class Places:
    """Where the units stand in each of some orders.

    Attributes
    ----------
    units : tuple of str
        As the first order has them.
    ranks : ndarray of int, shape (orders, units)
        Counted from the input; units beside each other have the same.
    """

    units: tuple[str, ...]
    ranks: IntArray


def places_of(orders: Sequence[Arrangement]) -> Places:
    """Number the places of units.

    Raises
    ------
    SettingError
        If there is no order, or two are not made of the same units, each of them once.
    """
    if not orders:
        raise SettingError("orders: none, at least one is needed")
    units = tuple(_flat(orders[0]))
    ranks = np.empty((len(orders), len(units)), dtype=np.int64)
    for i, order in enumerate(orders):
        rank = {unit: r for r, step in enumerate(order) for unit in ((step,) if isinstance(step, str) else step)}
        if not len(_flat(order)) == len(units) == len(rank) or rank.keys() != set(units):
            raise SettingError(f"orders: [{i}] is made of {_flat(order)}, not of {list(units)}, each once")
        ranks[i] = [rank[unit] for unit in units]
    return Places(units, ranks)


def common_relations(orders: Sequence[Arrangement], groups: Iterable[Sequence[int]]) -> tuple[Common, ...]:
    """Say for each group of orders what its members have in common that other orders do not have.

    Parameters
    ----------
    orders : sequence of arrangements
        All that were compared, such as ``[("gate", ("echo", "plate"), "drive"), ...]``; the first one's sequence of
        units is that of the words.
    groups : iterable of sequences of int
        Which orders are in each group.

    Returns
    -------
    tuple of Common
        One a group.

    Raises
    ------
    SettingError
        As `places_of`, and for a group without members.
    """
    places = places_of(orders)
    relations, holds = _relations(places)
    return tuple(_common(places.units, relations, holds, np.asarray(members, dtype=np.int64)) for members in groups)


def _flat(order: Arrangement) -> list[str]:
    return [unit for step in order for unit in ((step,) if isinstance(step, str) else step)]


def _relations(places: Places) -> tuple[list[Relation], BoolArray]:
    """All relations that hold in some orders and not in others, and which hold where, (orders, relations).

    Of two that hold in the same orders for the same pair, such as "not beside" where nothing ever comes after, the
    plainer one is taken.
    """
    relations: list[Relation] = []
    columns: list[BoolArray] = []
    for a, b in combinations(range(len(places.units)), 2):
        first, second = places.units[a], places.units[b]
        sign = np.sign(places.ranks[:, a] - places.ranks[:, b])
        told: set[bytes] = set()
        for relation, column in (
            (Relation(first, "before", second), sign < 0),
            (Relation(second, "before", first), sign > 0),
            (Relation(first, "beside", second), sign == 0),
            (Relation(first, "in series with", second), sign != 0),
            (Relation(first, "before or beside", second), sign <= 0),
            (Relation(second, "before or beside", first), sign >= 0),
        ):
            if column.any() and not column.all() and column.tobytes() not in told:
                told.add(column.tobytes())
                relations.append(relation)
                columns.append(column)
    return relations, np.array(columns, dtype=np.bool_).reshape(len(columns), len(places.ranks)).T


def _common(units: tuple[str, ...], relations: list[Relation], holds: BoolArray, members: IntArray) -> Common:
    if not members.size:
        raise SettingError("orders: a group without members")
    is_member = np.zeros(len(holds), dtype=np.bool_)
    is_member[members] = True
    inside, outside = holds[is_member], holds[~is_member]
    rules, others = _rules(inside, outside)
    told = tuple(tuple(relations[k] for k in rule) for rule in rules)
    return Common(told, in_words(told, units), others, len(outside))


def _rules(inside: BoolArray, outside: BoolArray) -> tuple[list[list[int]], int]:
    """The rules of a group, and how many orders outside they let through."""
    if not len(outside):
        return [[]], 0
    shared = np.flatnonzero(inside.all(axis=0))
    kept_out = ~outside[:, shared]
    let_through = int(np.count_nonzero(~kept_out.any(axis=1)))
    if let_through == 0:
        return [_fewest(kept_out, shared)], 0
    two, let_through_by_two = _two_rules(inside, outside)
    # One rule is easier to read, even if it fits others: two must be exact then. Instead of none they may be rough.
    if two and let_through_by_two <= (0 if let_through < len(outside) else len(inside)):
        return two, let_through_by_two
    if let_through < len(outside):
        return [_fewest(kept_out[kept_out.any(axis=1)], shared)], let_through
    return [], len(outside)


def _two_rules(inside: BoolArray, outside: BoolArray) -> tuple[list[list[int]], int]:
    """Two rules of which every member follows one, the best of all splits by one or two relations; none: []."""
    parts = _splits(inside)
    if not parts.shape[1]:
        return [], len(outside)
    broken = (~inside).astype(np.float32)
    missing = (~outside).astype(np.float32)
    sides = [part.astype(np.float32).T @ broken == 0.0 for part in (parts, ~parts)]  # (splits, relations) shared
    follows = [missing @ side.T.astype(np.float32) == 0.0 for side in sides]  # (outside, splits)
    let_through = np.count_nonzero(follows[0] | follows[1], axis=0)
    let_through[~(sides[0].any(axis=1) & sides[1].any(axis=1))] = len(outside)
    fewest = int(let_through.min())
    if fewest == len(outside):
        return [], fewest
    best: list[list[int]] = []
    for k in np.flatnonzero(let_through == fewest)[:MOST_SPLITS_SHORTENED]:
        to_keep_out = ~(follows[0][:, k] | follows[1][:, k])
        shared = [np.flatnonzero(side[k]) for side in sides]
        rules = [_fewest(~outside[np.ix_(to_keep_out, s)], s) for s in shared]
        if not best or sum(map(len, rules)) < sum(map(len, best)):
            best = rules
    return (best, fewest) if sum(map(len, best)) <= MOST_RELATIONS_OF_TWO else ([], len(outside))


def _splits(inside: BoolArray) -> BoolArray:
    """Ways to take a part of the members by one relation or by two, (members, splits); each once, never all."""
    parts = inside
    if inside.shape[1] <= MOST_SPLIT_BY_TWO:
        a, b = np.triu_indices(inside.shape[1], 1)
        parts = np.concatenate([inside, inside[:, a] & inside[:, b]], axis=1)
    parts = parts == parts[0]  # the part with the first member
    _, first = np.unique(np.packbits(parts, axis=0), axis=1, return_index=True)
    parts = parts[:, np.sort(first)]
    found: BoolArray = parts[:, ~parts.all(axis=0)]
    return found


def _fewest(kept_out: BoolArray, names: IntArray) -> list[int]:
    """The fewest relations that together keep out every row: exactly, or one by one where there are too many sets.

    Parameters
    ----------
    kept_out : ndarray of bool, shape (orders, relations)
        Every row has at least one True.
    names : ndarray of int, shape (relations,)
        What to call them in the result.
    """
    only = kept_out[np.count_nonzero(kept_out, axis=1) == 1]
    chosen = set(np.flatnonzero(only.any(axis=0)).tolist())
    left = np.unique(kept_out[~kept_out[:, sorted(chosen)].any(axis=1)], axis=0)
    if len(left):
        open_ones = [k for k in np.flatnonzero(left.any(axis=0)).tolist() if k not in chosen]
        chosen |= _cover(left, open_ones)
    return [int(names[k]) for k in sorted(chosen)]


def _cover(left: BoolArray, columns: list[int]) -> set[int]:
    """The fewest columns that cover all rows."""
    wanted = (1 << len(left)) - 1
    bits = {k: sum(1 << int(i) for i in np.flatnonzero(left[:, k])) for k in columns}
    trials = 0
    for size in range(1, len(columns) + 1):
        trials += math.comb(len(columns), size)
        if trials > MOST_TRIALS:
            break
        for found in combinations(columns, size):
            covered = 0
            for k in found:
                covered |= bits[k]
            if covered == wanted:
                return set(found)
    return _greedy_cover(bits, wanted)


def _greedy_cover(bits: dict[int, int], wanted: int) -> set[int]:
    chosen: list[int] = []
    covered = 0
    while covered != wanted:
        chosen.append(max(bits, key=lambda k: (bits[k] & ~covered).bit_count()))
        covered |= bits[chosen[-1]]
    for k in list(chosen):
        rest = 0
        for other in chosen:
            rest |= bits[other] if other != k else 0
        if rest == wanted:
            chosen.remove(k)
    return set(chosen)
