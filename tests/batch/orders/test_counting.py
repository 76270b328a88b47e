"""Orders are counted, numbered and drawn right: against going through all, against published numbers, and evenly."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from itertools import combinations, pairwise, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chisquare

from chainsim.batch.orders.counting import MOST_UNITS, Constraints, Order, Orders


def bits(units: Iterable[int]) -> int:
    return sum(1 << u for u in units)


def free(n: int) -> Constraints:
    return Constraints((True,) * n, (0,) * n)


def in_sequence(n: int, pairs: list[tuple[int, int]]) -> Constraints:
    return Constraints((True,) * n, tuple(bits({a for a, b in pairs if b == u}) for u in range(n)))


def allowed(order: Order, rules: Constraints) -> bool:
    """The constraints by what they say, place by place."""
    entry = {u: i for i, item in enumerate(order) for u in item}
    place = {u: p for p, u in enumerate(u for item in order for u in item)}
    for u, earlier in enumerate(rules.earlier):
        for v in range(rules.size):
            if earlier >> v & 1 and not entry[v] < entry[u] and not (entry[v] == entry[u] and len(order[entry[u]]) > 1):
                return False
    for members in (*rules.together, *(bits(item) for item in order if len(item) > 1)):
        places = sorted(place[u] for u in range(rules.size) if members >> u & 1)
        if any(b != a + 1 or not rules.joined[b] for a, b in pairwise(places)):
            return False
    return True


def by_hand(rules: Constraints) -> list[Order]:
    """All orders, by going through every row of single units and of units side by side."""
    found = []
    for k in range(len(rules.lanes) + 1):
        for side_by_side in combinations(rules.lanes, k):
            wide = [tuple(u for u in range(rules.size) if lanes >> u & 1) for lanes in side_by_side]
            single = [(u,) for u in range(rules.size) if not any(u in item for item in wide)]
            found += [order for order in permutations([*single, *wide]) if allowed(order, rules)]
    return sorted(found, key=lambda order: [(len(item) > 1, item) for item in order])


@st.composite
def constraints(draw: st.DrawFn) -> Constraints:
    n = draw(st.integers(1, 5))
    joined = (True, *draw(st.lists(st.sampled_from([True, True, True, False]), min_size=n - 1, max_size=n - 1)))
    pairs = draw(st.lists(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), max_size=4))
    rules = in_sequence(n, [(a, b) for a, b in pairs if a != b])
    kinds = draw(st.lists(st.integers(0, 2), min_size=n, max_size=n))  # 1 and 2: a set, disjoint from the other
    sets = [bits(tuple(u for u in range(n) if kinds[u] == kind)) for kind in (1, 2) if kinds.count(kind) > 1]
    lanes = [members for members in sets if draw(st.booleans())]
    return Constraints(joined, rules.earlier, tuple(sets), tuple(lanes))


@given(constraints())
@settings(max_examples=60, deadline=None, derandomize=True)
def test_orders_are_those_that_going_through_all_finds(rules: Constraints) -> None:
    orders, found = Orders(rules), by_hand(rules)
    assert orders.count == len(found)
    assert [orders.order(i) for i in range(len(found))] == found
    assert [orders.number(order) for order in found] == list(range(len(found)))


def test_counts_are_the_published_ones() -> None:
    for n in (1, 6, 7, MOST_UNITS):
        assert Orders(free(n)).count == math.factorial(n)
    for n, zigzag in enumerate((1, 1, 2, 5, 16, 61, 272, 1385), start=1):  # OEIS A000111: fences
        fence = [(i, i + 1) if i % 2 else (i + 1, i) for i in range(n - 1)]
        assert Orders(in_sequence(n, fence)).count == zigzag
    grid = [(3 * i + j, k) for i in range(3) for j in range(3) for k in (3 * i + j + 1, 3 * i + j + 3)]
    grid = [(a, b) for a, b in grid if b < 9 and (b == a + 3 or b % 3)]
    assert Orders(in_sequence(9, grid)).count == 42  # Young tableaux of 3 x 3: hook lengths, 9! / (5 4^2 3^3 2^2)
    ladder = [(2 * i + j, 2 * i + j + k) for i in range(5) for j in (0, 1) for k in (1, 2)]
    ladder = [(a, b) for a, b in ladder if b < 10 and (b == a + 2 or b % 2)]
    assert Orders(in_sequence(10, ladder)).count == 42  # Catalan number 5
    pair = Constraints((True,) * 6, (0,) * 6, (0b11,), (0b11,))
    assert Orders(pair).count == 3 * math.factorial(5)  # in series either way, and side by side


def test_a_drawn_number_is_as_likely_as_any_other() -> None:
    """A chi-square test at level 1 % of 4,000 fixed seeds; it fails if one of the numbers is drawn 10 % too often."""
    orders = Orders(free(4))
    alone = Counter(orders.drawn(1, seed, None)[0] for seed in range(4000))
    assert set(alone) == set(range(24))
    assert chisquare([alone[i] for i in range(24)]).pvalue > 0.01
    beside = Counter(number for seed in range(4000) for number in orders.drawn(2, seed, 5))
    assert beside.pop(5) == 4000
    assert set(beside) == set(range(24)) - {5}
    assert chisquare(list(beside.values())).pvalue > 0.01
    pairs = Counter(tuple(Orders(free(3)).drawn(2, seed, None)) for seed in range(2000))
    assert set(pairs) == set(combinations(range(6), 2))
    assert chisquare(list(pairs.values())).pvalue > 0.01


@pytest.mark.parametrize("given_number", [None, 0, 23, 7])
def test_a_sample_holds_each_at_most_once(given_number: int | None) -> None:
    orders = Orders(free(4))
    for sample in (1, 2, 23, 24):
        drawn = orders.drawn(sample, 3, given_number)
        assert len(drawn) == len(set(drawn)) == sample
        assert set(drawn) <= set(range(24))
        assert given_number is None or given_number in drawn
        assert drawn == orders.drawn(sample, 3, given_number)
    assert orders.drawn(12, 3, given_number) != orders.drawn(12, 4, given_number)
