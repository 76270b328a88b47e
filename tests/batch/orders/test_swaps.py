"""Exchanges of neighbours and lanes instead of series, on figures made by theory."""

from __future__ import annotations

import math
from itertools import combinations, permutations

import numpy as np
import pytest

from chainsim.batch.orders.swaps import Swap, find_swaps, forks
from chainsim.errors import SettingError
from tests.batch.orders.traces import IDENTICAL_DB, all_orders, residuals

INF = math.inf


def test_what_commutes_is_found_and_the_rest_measured() -> None:
    """Two units are neighbours in (n - 1)! pairs of n! orders that differ by their exchange alone: 24 for five."""
    orders, commuting = all_orders("abcde"), ["ab", "cd"]
    residual_db = residuals(orders, commuting)
    distances = np.where(residual_db == IDENTICAL_DB, 0.0, 2.0)
    np.fill_diagonal(distances, 0.0)
    swaps = find_swaps(orders, distances, residual_db)
    assert {swap.units for swap in swaps} == set(combinations("abcde", 2))
    assert {swap.count for swap in swaps} == {24}
    assert [swap.units for swap in swaps if swap.commutes] == [("a", "b"), ("c", "d")] == [s.units for s in swaps[-2:]]
    assert str(swaps[-1]) == "c, d: null (-290 dB) in all 24"
    assert str(swaps[0]) == "b, c: 24 of 24 audible, 2.0 steps"


def test_figures_of_a_swap() -> None:
    """Each of three pairs is exchanged in two places; the other distances, 9 steps, are of no exchange."""
    orders = all_orders("abc")
    distances, residual_db = np.full((6, 6), 9.0), np.full((6, 6), -10.0)
    for (i, j), steps, null_db in (
        (("abc", "bac"), 1.2, -40.0),
        (("cab", "cba"), 0.5, -60.0),
        (("abc", "acb"), 0.0, -130.0),
        (("bac", "bca"), 3.0, -5.0),
        (("bca", "cba"), 1.0, -120.0),
        (("acb", "cab"), 1.0, -INF),
    ):
        k, m = orders.index(tuple(i)), orders.index(tuple(j))
        distances[k, m] = distances[m, k] = steps
        residual_db[k, m] = residual_db[m, k] = null_db
    ac, ab, bc = find_swaps(orders, distances, residual_db)
    assert ac == Swap(("a", "c"), 2, 1, -INF, 1, 1.0, 2.0, 3.0)
    assert ab == Swap(("a", "b"), 2, 0, None, 1, 0.5, 0.85, 1.2)
    assert bc == Swap(("b", "c"), 2, 2, -120.0, 0, 0.0, 0.5, 1.0)
    assert [str(swap) for swap in (ac, ab, bc)] == [
        "a, c: 1 of 2 audible, 1 null, 1.0 to 3.0 steps",
        "a, b: 1 of 2 audible, 0.5 to 1.2 steps",
        "b, c: null (-120 dB) in all 2",
    ]
    assert find_swaps(orders, distances, residual_db, threshold_steps=0.4, null_db=-125.0)[2].audible == 1
    assert find_swaps(orders, distances, residual_db, null_db=-125.0)[2].nulls == 1


LANES = [("a", "b", "c"), ("b", "a", "c"), (("a", "b"), "c"), ("c", "a", "b"), ("c", "b", "a"), ("c", ("b", "a"))]


def test_lanes_are_exchanged_whole() -> None:
    distances = np.arange(36.0).reshape(6, 6)
    swaps = find_swaps(LANES, distances, np.zeros((6, 6)))
    assert {swap.units: (swap.count, swap.least_steps, swap.largest_steps) for swap in swaps} == {
        ("a", "b"): (2, 1.0, 22.0),  # (0, 1) and (3, 4)
        ("a | b", "c"): (1, 17.0, 17.0),  # (2, 5)
    }
    assert "[a | b], c: 1 of 1 audible, 17.0 steps" in map(str, swaps)


def test_lanes_against_series() -> None:
    distances = np.arange(36.0).reshape(6, 6)
    residual_db = np.zeros((6, 6))
    residual_db[2, 0] = residual_db[2, 1] = residual_db[5, 3] = residual_db[5, 4] = -INF
    (fork,) = find_swaps(LANES, distances, residual_db, change=forks)
    assert (fork.units, fork.count, fork.nulls, fork.audible) == (("a", "b"), 4, 4, 4)
    assert (fork.least_steps, fork.median_steps, fork.largest_steps) == (12.0, 23.0, 34.0)  # 12, 13, 33, 34
    assert str(fork) == "a, b: null (the same samples) in all 4"
    three = [("a", "b", "c", "d"), (("a", "b", "c"), "d"), ("c", "a", "b", "d"), ("d", "a", "b", "c")]
    (fork,) = find_swaps(three, np.arange(16.0).reshape(4, 4), np.zeros((4, 4)), change=forks)
    assert (fork.units, fork.count, fork.least_steps, fork.largest_steps) == (("a", "b", "c"), 2, 4.0, 6.0)


def test_what_never_moves_may_stand_between() -> None:
    """Three places with a fixed one between the first two: a and c are exchanged across it, and so is d with each."""
    orders = [(a, "x", b, c) for a, b, c in permutations("acd")]
    swaps = find_swaps(orders, np.ones((6, 6)), np.zeros((6, 6)))
    assert {(swap.units, swap.count) for swap in swaps} == {(("a", "c"), 2), (("a", "d"), 2), (("c", "d"), 2)}
    (swap,) = find_swaps([("a", "b", "c"), ("c", "b", "a")], np.full((2, 2), 3.0), np.zeros((2, 2)))
    assert str(swap) == "a, c: 1 of 1 audible, 3.0 steps"


@pytest.mark.parametrize(("lanes", "across"), [(False, 2), (True, 3)])
def test_what_never_moves_stays_so_behind_lanes(lanes: bool, across: int) -> None:
    """Places 0 1 2 X 3, with a and b next to each other: on 0 1 or 1 2.

    By hand: e and c are neighbours across X behind "a b", behind "b a" and, with lanes, behind "a | b"; a and b are
    exchanged at each of 4 places. To exchange e with one of them would part them; with both in lanes e changes places.
    """
    orders: list[tuple[str | tuple[str, ...], ...]] = []
    for e, c in permutations("ec"):
        for a, b in permutations("ab"):
            orders += [(a, b, e, "x", c), (e, a, b, "x", c)]
        if lanes:
            orders += [(("a", "b"), e, "x", c), (e, ("a", "b"), "x", c)]
    count = len(orders)
    swaps = {s.units: s.count for s in find_swaps(orders, np.ones((count, count)), np.zeros((count, count)))}
    with_lanes = {("a | b", "e"): 1, ("a | b", "c"): 1} if lanes else {}
    assert swaps == {("a", "b"): 4, ("e", "c"): across, **with_lanes}
    found = find_swaps(orders, np.ones((count, count)), np.zeros((count, count)), change=forks)
    assert [(s.units, s.count) for s in found] == ([(("a", "b"), 8)] if lanes else [])


def test_nothing_to_exchange() -> None:
    assert find_swaps([("a",)], [[0.0]], [[-INF]]) == ()
    assert find_swaps([("a", "b", "c"), ("c", "a", "b")], np.zeros((2, 2)), np.zeros((2, 2))) == ()
    assert find_swaps(all_orders("ab"), np.zeros((2, 2)), np.zeros((2, 2)), change=forks) == ()


def test_matrices_of_another_shape() -> None:
    with pytest.raises(SettingError, match=r"orders: 2, but matrices of shapes \(3, 3\) and \(2, 2\)"):
        find_swaps(all_orders("ab"), np.zeros((3, 3)), np.zeros((2, 2)))
