"""What groups have in common: known partitions as sentences, and every statement checked by brute force."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations, pairwise, permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.batch.orders.places import Arrangement, places_of
from chainsim.batch.orders.relation_words import Relation, in_words
from chainsim.batch.orders.relations import Common, common_relations
from chainsim.errors import SettingError
from tests.batch.orders.traces import all_orders, dependent_pairs, trace

UNITS = ("eq", "drive", "wah", "echo")
SIX = ("gate", "drive", "wah", "echo", "plate", "eq")


def before(order: Arrangement, *units: str) -> bool:
    """Whether the units follow each other in this sequence, with others between them or not."""
    steps = [next(i for i, s in enumerate(order) if u == s or (isinstance(s, tuple) and u in s)) for u in units]
    return all(a < b for a, b in pairwise(steps))


def told(orders: Sequence[Arrangement], belongs: Callable[[Arrangement], bool]) -> Common:
    (found,) = common_relations(orders, [[i for i, order in enumerate(orders) if belongs(order)]])
    return found


@pytest.mark.parametrize(
    ("belongs", "text"),
    [
        (lambda o: before(o, "drive", "wah"), "drive before wah"),
        (lambda o: before(o, "wah", "drive"), "wah before drive"),
        (lambda o: before(o, "drive", "wah") and before(o, "drive", "echo"), "drive before wah and echo"),
        (lambda o: before(o, "drive", "echo") and before(o, "wah", "echo"), "echo after drive and wah"),
        (lambda o: o[0] == "wah", "wah before all others"),
        (lambda o: o[-1] == "wah", "wah after all others"),
        (lambda o: {*o[:2]} == {"eq", "drive"}, "eq and drive before wah and echo"),
        (lambda o: before(o, "echo", "eq", "wah"), "echo, eq and wah in this order"),
        (lambda o: before(o, "echo", "wah", "eq", "drive"), "echo, wah, eq and drive in this order"),
        (lambda o: before(o, "eq", "wah") and before(o, "drive", "echo"), "eq before wah; drive before echo"),
        (lambda o: before(o, "wah", "drive") or before(o, "echo", "drive"), "drive after wah or echo"),
        (lambda o: before(o, "drive", "wah") or before(o, "drive", "echo"), "drive before wah or echo"),
        (
            lambda o: before(o, "wah", "drive", "echo") or before(o, "echo", "drive", "wah"),
            "wah, drive and echo in this order, or echo, drive and wah in this order",
        ),
        (
            lambda o: before(o, "wah", "drive") or (before(o, "eq", "drive") and before(o, "wah", "echo")),
            "(eq before drive; wah before echo), or wah before drive",
        ),
        (lambda o: True, "all orders"),
    ],
)
def test_sentences(belongs: Callable[[Arrangement], bool], text: str) -> None:
    orders = all_orders(UNITS)
    found = told(orders, belongs)
    assert (found.text, found.others) == (text, 0)
    assert found.outside == sum(not belongs(order) for order in orders)


def test_a_group_that_relations_do_not_tell() -> None:
    """Drive in the second place: nothing in common, and no two rules of a few words."""
    found = told(all_orders(SIX), lambda o: o[1] == "drive")
    assert found == Common((), "no rule in words", 0, 600, 600)


def test_what_most_members_have_in_common() -> None:
    """Drive before wah, but for 12 members that have them exchanged: 348 of 360, and 12 of 360 others."""
    orders = all_orders(SIX)
    first = [i for i, order in enumerate(orders) if before(order, "drive", "wah")]
    other = [i for i, order in enumerate(orders) if not before(order, "drive", "wah")]
    (found,) = common_relations(orders, [first[12:] + other[::30]])
    assert found == Common(((Relation("drive", "before", "wah"),),), "mostly drive before wah", 348, 12, 360)


def test_what_most_members_have_in_common_in_two_relations() -> None:
    """Wah between drive and echo but for 6 of 120 members; drive before echo alone has 240 others."""
    orders = all_orders(SIX)
    first = [i for i, order in enumerate(orders) if before(order, "drive", "wah", "echo")]
    other = [i for i, order in enumerate(orders) if before(order, "echo", "drive")]
    (found,) = common_relations(orders, [first[6:] + other[::60]])
    assert (found.text, found.followers, found.others) == ("mostly drive, wah and echo in this order", 114, 6)


def test_orders_that_nothing_parts() -> None:
    """The same order twice, in two groups."""
    first, second = common_relations([(("a", "b"), "c"), (("b", "a"), "c")], [[0], [1]])
    assert first == second == Common((), "no rule in words", 0, 1, 1)


def test_a_rule_that_others_follow_as_well() -> None:
    """Drive first or second, and before wah: 120 + 96 orders, of 360 with drive before wah; no two rules tell them."""
    orders = all_orders(SIX)
    found = told(orders, lambda o: o.index("drive") < 2 and before(o, "drive", "wah"))
    assert (found.text, found.others, found.outside) == ("drive before wah", 360 - 120 - 96, 720 - 216)


def test_what_a_rule_of_the_sketch_fixes_is_not_told() -> None:
    """The gate is always first and the plate last; drive and echo are kept together, so one of them is enough."""
    orders: list[Arrangement] = [
        ("gate", *inner, "plate")
        for inner in permutations(["drive", "echo", "wah"])
        if abs(inner.index("drive") - inner.index("echo")) == 1
    ]
    assert len(orders) == 4
    assert told(orders, lambda o: before(o, "drive", "wah")).text == "drive before wah"


LANES: list[Arrangement] = [
    *permutations(["echo", "plate", "drive"]),
    (("echo", "plate"), "drive"),
    ("drive", ("plate", "echo")),
]


@pytest.mark.parametrize(
    ("belongs", "text"),
    [
        (lambda o: len(o) == 2, "echo beside plate"),
        (lambda o: len(o) == 3, "echo in series with plate"),
        (lambda o: not before(o, "plate", "echo"), "echo before or beside plate"),
        (lambda o: not before(o, "echo", "plate"), "plate before or beside echo"),
        (lambda o: len(o) == 2 and o[0] == "drive", "echo beside plate; drive before echo"),
        (lambda o: o[-1] == "drive", "drive after echo and plate"),
    ],
)
def test_lanes(belongs: Callable[[Arrangement], bool], text: str) -> None:
    found = told(LANES, belongs)
    assert (found.text, found.others) == (text, 0)


def test_every_trace_is_told_exactly() -> None:
    """A class of identical orders is what has one sequence of each two that do not commute (Cartier and Foata 1969)."""
    orders, dependent = all_orders("abcde"), dependent_pairs("abcde", ["ab", "cd"])
    groups: dict[tuple[bool, ...], list[int]] = {}
    for i, order in enumerate(orders):
        groups.setdefault(trace(order, dependent), []).append(i)
    found = common_relations(orders, list(groups.values()))
    assert len(found) == 78
    assert {common.others for common in found} == {0}
    assert {len(common.rules) for common in found} == {1}
    for common in found:
        assert {frozenset((r.first, r.second)) for r in common.rules[0]} <= {frozenset(pair) for pair in dependent}


FORKS: list[Arrangement] = [(("a", "b"), "c"), (("b", "c"), "a"), (("a", "c"), "b")]
THREE: list[Arrangement] = [*permutations("abc"), *FORKS, *(order[::-1] for order in FORKS), (("a", "b", "c"),)]
"""All 13 weak orders of three."""


def stands(order: Arrangement, relation: Relation) -> bool:
    """Whether a relation holds, from the words alone."""
    place = {unit: i for i, step in enumerate(order) for unit in step}  # units of one letter
    first, second = place[relation.first], place[relation.second]
    return {
        "before": first < second,
        "beside": first == second,
        "before or beside": first <= second,
        "in series with": first != second,
    }[relation.how]


def follows(order: Arrangement, rules: Sequence[Sequence[Relation]]) -> bool:
    return any(all(stands(order, relation) for relation in rule) for rule in rules)


def let_through(orders: Sequence[Arrangement], group: set[int], rules: Sequence[Sequence[Relation]]) -> int:
    return sum(i not in group and follows(order, rules) for i, order in enumerate(orders))


@given(st.sampled_from([all_orders("abcd"), THREE]), st.data())
def test_what_is_said_is_true_and_no_rule_is_better(orders: list[Arrangement], data: st.DataObject) -> None:
    """No single rule that every member follows lets fewer others through, and none that lets as few is shorter."""
    group = data.draw(st.sets(st.integers(0, len(orders) - 1), min_size=1))
    (found,) = common_relations(orders, [sorted(group)])
    assert found.outside == len(orders) - len(group)
    if found.rules:
        assert found.followers == sum(follows(orders[i], found.rules) for i in group)
        assert found.text.startswith("mostly") == (found.followers < len(group))
        assert found.others == let_through(orders, group, found.rules)
    else:
        assert (found.followers, found.others) == (0, found.outside)
    units = sorted(unit for step in orders[0] for unit in step)
    pairs = [Relation(a, "before", b) for a, b in permutations(units, 2)]
    if orders is THREE:
        for how in ("beside", "in series with", "before or beside"):
            pairs += [Relation(a, how, b) for a, b in permutations(units, 2) if a < b or how == "before or beside"]
    shared = [r for r in pairs if all(stands(orders[i], r) for i in group)]
    least = let_through(orders, group, [shared])
    if least == found.outside:  # the members share nothing that parts them from anyone
        share, of_others = found.followers / len(group), found.others / max(1, found.outside)
        assert not found.rules or not found.outside or share - of_others >= 0.5
        assert found.others <= found.followers or not found.rules
        assert share >= 0.8 or not found.rules
    elif len(found.rules) == 1:
        assert found.others == least
        assert found.followers == len(group)
        shorter = combinations(shared, len(found.rules[0]) - 1)
        assert all(let_through(orders, group, [rule]) > least for rule in shorter)
    else:
        assert least > 0  # one rule that tells the group exactly is never passed over
        assert (len(found.rules), found.followers, found.others) == (2, len(group), 0)


def test_a_rough_rule_is_true_of_four_in_five_at_least() -> None:
    """By counting: "a before b" is true of 10 of these 13 only, so two rules that all follow are told instead."""
    (found,) = common_relations(all_orders("abcd"), [[0, 1, 2, 3, 4, 5, 6, 7, 9, 12, 13, 16, 22]])
    assert (found.text, found.followers, found.others) == ("a before b, or b before c and d", 13, 5)


@given(st.data())
def test_a_split_in_two_is_found(data: st.DataObject) -> None:
    """Groups made by two rules of one relation each are told exactly."""
    orders = all_orders("abcd")
    pairs = [Relation(a, "before", b) for a, b in permutations("abcd", 2)]
    rules = [[data.draw(st.sampled_from(pairs))], [data.draw(st.sampled_from(pairs))]]
    group = [i for i, order in enumerate(orders) if follows(order, rules)]
    (found,) = common_relations(orders, [group])
    assert found.others == 0
    assert [follows(order, found.rules) for order in orders] == [follows(order, rules) for order in orders]
    assert len(found.rules) <= 2
    assert sum(map(len, found.rules)) <= 2


def test_the_shortest_of_the_splits_that_serve_as_well() -> None:
    """By hand: with c before d or b before a and d, too, all of the group are told, but in one relation more."""
    (found,) = common_relations(["abcd", "abdc", "bacd", "bdca", "dbac"], [[0, 2, 3]])
    assert (found.text, found.others) == ("c before d or a", 0)


def test_many_units() -> None:
    """A sample of orders of nine units, each one a group: more sets of relations than are tried, and yet exact."""
    units = "abcdefghi"
    rng = np.random.default_rng(7)
    orders = [tuple(order) for order in rng.permuted(np.tile(np.array(list(units)), (60, 1)), axis=1).tolist()]
    told: list[tuple[int, int]] = []
    found = common_relations(orders, [[i] for i in range(len(orders))], lambda *done: told.append(done))
    assert len(set(orders)) == 60
    assert told == [(i + 1, 60) for i in range(60)]
    for i, common in enumerate(found):
        assert common.others == let_through(orders, {i}, common.rules) == 0
        assert follows(orders[i], common.rules)
        (rule,) = common.rules
        assert all(let_through(orders, {i}, [[r for r in rule if r != left]]) for left in rule)  # none is idle


@pytest.mark.parametrize(
    ("rule", "text"),
    [
        ([("a", "before", "b"), ("b", "before", "c"), ("a", "before", "d")], "a before b and d; b before c"),
        ([("a", "beside", "b"), ("a", "beside", "c")], "a beside b and c"),
        ([("b", "before", "c | d")], "b before [c | d]"),
        ([("a", "before", "e"), ("b", "before", "e"), ("c", "before", "e")], "e after a, b and c"),
    ],
)
def test_words(rule: list[tuple[str, str, str]], text: str) -> None:
    assert in_words([[Relation(*one) for one in rule]], ["a", "b", "c", "c | d", "d", "e"]) == text  # type: ignore[arg-type]


def test_places() -> None:
    """Units as the first order has them; lanes have as many before them, in whatever sequence they are written."""
    places = places_of([("gate", ("echo", "plate"), "drive"), ("drive", "gate", ("plate", "echo"))])
    assert places.units == ("gate", "echo", "plate", "drive")
    assert places.before.tolist() == [[0, 1, 1, 3], [1, 2, 2, 0]]


@pytest.mark.parametrize(
    ("orders", "message"),
    [
        ([], "orders: none"),
        ([("a", "b"), ("a", "c")], r"orders: \[1\] is made of \['a', 'c'\], not of \['a', 'b'\], each once"),
        ([("a", "b"), ("a",)], r"orders: \[1\]"),
        ([("a", "b"), ("a", "b", "b")], r"orders: \[1\]"),
        ([("a", "a")], r"orders: \[0\]"),
    ],
)
def test_orders_of_other_units(orders: list[Arrangement], message: str) -> None:
    with pytest.raises(SettingError, match=message):
        places_of(orders)


def test_a_group_without_members() -> None:
    with pytest.raises(SettingError, match="a group without members"):
        common_relations([("a", "b")], [[]])
