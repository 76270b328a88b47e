"""What a group of orders has in common: who stands before, after or beside whom.

A relation between two units is a fact about an order. Those that all members share, and no others, make the strongest
rule that holds for the whole group; the fewest of them that let through no more other orders are its shortest form.
That is a set cover: every order to be kept out needs a relation that keeps it out. Where such a rule also fits other
orders, or the members share no relation, the group is split in two by one or two relations, and each part gets a rule:
one of the two must hold. Where that fails as well, the one or two relations are named that part most members from most
others: the share of members that have them, less the share of others, is the largest [1]_.

References
----------
.. [1] W. J. Youden, "Index for rating diagnostic tests", Cancer 3(1), 1950.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from chainsim.batch.orders.places import Arrangement, Places, places_of
from chainsim.batch.orders.relation_words import Relation, in_words
from chainsim.batch.orders.set_cover import MOST_TRIALS, different, fewest_columns
from chainsim.errors import SettingError

MOST_RELATIONS_OF_TWO = 6
"""A rule of two parts that needs more relations is no help to a reader."""

MOST_PAIRED = 60
"""With more relations than that, pairs of them are not looked at."""

LEAST_SHARE = 0.8
"""Share of the members who must follow a rule that not all follow."""

LEAST_INDEX = 0.5
"""How much larger the share of members that follow a rough rule must be than that of the others."""

WORTH_A_RELATION = 0.1
"""How much larger still a second relation in it must make that."""

MOST_SPLITS_SHORTENED, SPLITS_OF_ALL = 32, 1_000
"""Of the splits that serve a group equally well, so many are written out to see which is the shortest; and how many of
all groups, whatever their number."""

TRIALS_OF_ALL = 1_000_000
"""Sets of relations tried for all groups together."""

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Effort:
    """How much is tried for one group: splits in two, and sets of relations."""

    splits: int
    trials: int

    @classmethod
    def each_of(cls, groups: int) -> Effort:
        """What each of so many groups gets, so that many take no longer than some."""
        many = max(1, groups)
        return cls(max(1, min(MOST_SPLITS_SHORTENED, SPLITS_OF_ALL // many)), min(MOST_TRIALS, TRIALS_OF_ALL // many))


@dataclass(frozen=True)
class Common:
    """What the members of a group have in common.

    Attributes
    ----------
    rules : tuple of tuples of Relation
        Members follow one of these rules, which is to say all relations in it. One rule without relations: the group
        holds all orders. No rule: none was found that tells this group from the others.
    text : str
        The same in words; it begins with "mostly" if not all members follow.
    followers : int
        How many of the members follow one of the rules: all of them wherever such rules were found.
    others : int
        How many orders outside the group follow one of the rules as well; 0: the rules tell the group exactly. Without
        rules all of them.
    outside : int
        How many orders are outside the group.
    """

    rules: tuple[tuple[Relation, ...], ...]
    text: str
    followers: int
    others: int
    outside: int


def common_relations(
    orders: Sequence[Arrangement], groups: Iterable[Sequence[int]], progress: Callable[[int, int], None] | None = None
) -> tuple[Common, ...]:
    """Say for each group of orders what its members have in common that other orders do not have.

    Parameters
    ----------
    orders : sequence of arrangements
        All that were compared, such as ``[("gate", ("echo", "plate"), "drive"), ...]``; the first one's sequence of
        units is that of the words.
    groups : iterable of sequences of int
        Which orders are in each group.
    progress : callable, optional
        Told (groups done, groups in all).

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
    sets = [np.asarray(members, dtype=np.int64) for members in groups]
    effort = Effort.each_of(len(sets))
    found = []
    for members in sets:
        found.append(_common(places.units, relations, holds, members, effort))
        if progress is not None:
            progress(len(found), len(sets))
    return tuple(found)


def _relations(places: Places) -> tuple[list[Relation], BoolArray]:
    """All relations that hold in some orders and not in others, and which hold where, (orders, relations).

    Of two that hold in the same orders for the same pair, such as "not beside" where nothing ever comes after, the
    plainer one is taken.
    """
    relations: list[Relation] = []
    columns: list[BoolArray] = []
    for a, b in combinations(range(len(places.units)), 2):
        first, second = places.units[a], places.units[b]
        sign = np.sign(places.before[:, a] - places.before[:, b])
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
    return relations, np.array(columns, dtype=np.bool_).reshape(len(columns), len(places.before)).T


def _common(
    units: tuple[str, ...], relations: list[Relation], holds: BoolArray, members: IntArray, effort: Effort
) -> Common:
    if not members.size:
        raise SettingError("orders: a group without members")
    is_member = np.zeros(len(holds), dtype=np.bool_)
    is_member[members] = True
    inside, outside = holds[is_member], holds[~is_member]
    rules = _rules(inside, outside, effort)
    followers, others = (_followers(part, rules) for part in (inside, outside)) if rules else (0, len(outside))
    told = tuple(tuple(relations[k] for k in rule) for rule in rules)
    text = in_words(told, units)
    return Common(told, text if followers in (0, len(inside)) else f"mostly {text}", followers, others, len(outside))


def _followers(holds: BoolArray, rules: list[list[int]]) -> int:
    return int(np.count_nonzero(np.any([holds[:, rule].all(axis=1) for rule in rules], axis=0)))


def _rules(inside: BoolArray, outside: BoolArray, effort: Effort) -> list[list[int]]:
    """The rules of a group."""
    if not len(outside):
        return [[]]
    if not inside.shape[1]:
        return []
    shared = np.flatnonzero(inside.all(axis=0))
    kept_out = ~outside[:, shared]
    told_apart = kept_out.any(axis=1)
    if told_apart.all():
        return [_fewest(kept_out, shared, effort.trials)]
    two = _two_rules(inside, outside, effort)
    if told_apart.any():  # one rule is easier to read, even if it fits others: two must be exact
        return two if two and not _followers(outside, two) else [_fewest(kept_out[told_apart], shared, effort.trials)]
    rough = max((two, _mostly(inside, outside)), key=lambda rules: _index(inside, outside, rules))
    return rough if _index(inside, outside, rough) >= LEAST_INDEX else []


def _index(inside: BoolArray, outside: BoolArray, rules: list[list[int]]) -> float:
    """How much larger the share of members is that follow than that of others; 0 if more others follow than members."""
    if not rules or _followers(outside, rules) > _followers(inside, rules):
        return 0.0
    return _followers(inside, rules) / len(inside) - _followers(outside, rules) / len(outside)


def _two_rules(inside: BoolArray, outside: BoolArray, effort: Effort) -> list[list[int]]:
    """Two rules of which every member follows one, the best of all splits by one or two relations; none: []."""
    parts = _splits(inside)
    if not parts.shape[1]:
        return []
    broken = (~inside).astype(np.float32)
    missing = (~outside).astype(np.float32)
    sides = [part.astype(np.float32).T @ broken == 0.0 for part in (parts, ~parts)]  # (splits, relations) shared
    follows = [missing @ side.T.astype(np.float32) == 0.0 for side in sides]  # (outside, splits)
    let_through = np.count_nonzero(follows[0] | follows[1], axis=0)
    let_through[~(sides[0].any(axis=1) & sides[1].any(axis=1))] = len(outside)
    fewest = int(let_through.min())
    if fewest == len(outside):
        return []
    best: list[list[int]] = []
    equal = np.flatnonzero(let_through == fewest)[: effort.splits]
    trials = effort.trials // (2 * equal.size)
    for k in equal:
        to_keep_out = ~(follows[0][:, k] | follows[1][:, k])
        shared = [np.flatnonzero(side[k]) for side in sides]
        rules = [_fewest(~outside[np.ix_(to_keep_out, s)], s, trials) for s in shared]
        if not best or sum(map(len, rules)) < sum(map(len, best)):
            best = rules
    return best if sum(map(len, best)) <= MOST_RELATIONS_OF_TWO else []


def _splits(inside: BoolArray) -> BoolArray:
    """Ways to take a part of the members by one relation or by two, (members, splits); each once, never all."""
    parts = _singles_and_pairs(inside)[0]
    parts = parts == parts[0]  # the part with the first member
    parts = parts[:, different(parts.T)]
    found: BoolArray = parts[:, ~parts.all(axis=0)]
    return found


def _mostly(inside: BoolArray, outside: BoolArray) -> list[list[int]]:
    """The rule of one or two relations that best parts members from others, being true of most; none: []."""
    held, a, b = _singles_and_pairs(np.concatenate([inside, outside]))
    share, of_others = held[: len(inside)].mean(axis=0), held[len(inside) :].mean(axis=0)
    index = np.where(share >= LEAST_SHARE, share - of_others, -1.0)
    best = int(np.argmax(index - WORTH_A_RELATION * (a != b)))
    return [sorted({int(a[best]), int(b[best])})] if share[best] >= LEAST_SHARE else []


def _singles_and_pairs(holds: BoolArray) -> tuple[BoolArray, IntArray, IntArray]:
    """Where one relation holds, or two together; and which those two are, both the same for one alone."""
    count = holds.shape[1]
    first, second = np.triu_indices(count if count <= MOST_PAIRED else 0, 1)
    a, b = (np.concatenate([np.arange(count), others]) for others in (first, second))
    return holds[:, a] & holds[:, b], a, b


def _fewest(kept_out: BoolArray, names: IntArray, trials: int) -> list[int]:
    """The fewest of these relations that keep out every row of (orders, relations)."""
    return [int(names[k]) for k in fewest_columns(kept_out, trials)]
