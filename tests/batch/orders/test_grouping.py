"""Identical orders as theory has them; groups by complete linkage, against what it promises and against brute force."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.batch.orders.grouping import Grouping, group_orders, identical_orders
from chainsim.errors import SettingError
from chainsim.units import Array
from tests.batch.orders.traces import (
    DIFFERENT_DB,
    IDENTICAL_DB,
    acyclic_orientations,
    all_orders,
    dependent_pairs,
    residuals,
    trace,
)

INF = math.inf


def of_line(positions: Sequence[float]) -> Array:
    """Distances between points on a line."""
    x = np.array(positions, dtype=np.float64)
    return np.abs(x[:, None] - x[None, :])


def none_identical(count: int) -> Array:
    return np.where(np.eye(count, dtype=np.bool_), -INF, DIFFERENT_DB)


@pytest.mark.parametrize(
    ("units", "commuting", "classes"),
    [
        ("abcd", [], 24),  # nothing commutes: 4! sounds
        ("abcd", ["ab", "ac", "ad", "bc", "bd", "cd"], 1),
        ("abcdef", ["ac", "ad", "ae", "af", "bd", "be", "bf", "ce", "cf", "df"], 32),  # a path, a tree: 2^(n - 1)
        ("abcdef", ["ac", "ad", "ae", "bd", "be", "bf", "ce", "cf", "df"], 62),  # a circle: 2^n - 2
        ("abcde", ["ab", "cd"], 78),  # K_{2,2,1}: |chi(-1)| with chi(q) = q (q-1) (q-2) (q^2 - 5q + 7)
        ("abcdef", ["ab", "cd", "ef"], 426),  # K_{2,2,2}: chi(q) = q (q-1) (q-2) (q^3 - 9q^2 + 29q - 32)
    ],
)
def test_as_many_sounds_as_acyclic_orientations(units: str, commuting: list[str], classes: int) -> None:
    """Stanley 1973, corollary 1.3: a graph has |chi(-1)| acyclic orientations, chi its chromatic polynomial."""
    found = identical_orders(residuals(all_orders(units), commuting))
    assert len(found) == classes
    assert all(one.all_null for one in found)
    assert sorted(order for one in found for order in one.members) == list(range(math.factorial(len(units))))


@given(st.sets(st.sampled_from([a + b for a, b in combinations("abcd", 2)])))
def test_as_many_sounds_as_acyclic_orientations_of_any_four(commuting: set[str]) -> None:
    edges = frozenset(frozenset(pair) for pair in dependent_pairs("abcd", commuting))
    found = identical_orders(residuals(all_orders("abcd"), commuting))
    assert len(found) == acyclic_orientations(frozenset("abcd"), edges)


def test_exchanges_of_neighbours_reach_all_that_is_identical() -> None:
    """Cartier and Foata 1969: so the classes are the same if only such neighbours are known to null; not all do."""
    orders, commuting = all_orders("abcde"), ["ab", "cd"]
    residual_db = none_identical(len(orders))
    for i, order in enumerate(orders):
        for k in range(4):
            if "".join(sorted(order[k : k + 2])) in commuting:
                j = orders.index((*order[:k], order[k + 1], order[k], *order[k + 2 :]))
                residual_db[i, j] = residual_db[j, i] = IDENTICAL_DB
    found = identical_orders(residual_db)
    assert [one.members for one in found] == [one.members for one in identical_orders(residuals(orders, commuting))]
    assert len(found) == 78
    # Four orders exchange a with b and c with d at two places; opposite corners of that square do not differ by one.
    assert {(len(one.members), one.all_null) for one in found} == {(1, True), (2, True), (4, False)}
    assert {one.worst_null_db for one in found if not one.all_null} == {DIFFERENT_DB}


def test_worst_residual_inside() -> None:
    residual_db = np.array([[-INF, -150.0, -INF], [-150.0, -INF, -121.0], [-INF, -121.0, -INF]])
    (one,) = identical_orders(residual_db, -120.0)
    assert (one.members, one.worst_null_db, one.all_null) == ((0, 1, 2), -121.0, True)
    alone = identical_orders(residual_db, -INF)
    assert [(one.members, one.worst_null_db) for one in alone] == [((0, 2), -INF), ((1,), -INF)]


def test_what_one_relation_decides() -> None:
    """Whether the filter stands before the drive (a before b) is 3 steps, anything else 0.4."""
    orders = all_orders("abcd")
    first = np.array([trace(order, [("a", "b")])[0] for order in orders])
    distances = np.where(first[:, None] == first[None, :], 0.4, 3.0)
    np.fill_diagonal(distances, 0.0)
    found = group_orders(distances, none_identical(24), as_written=orders.index(tuple("badc")))
    assert [group.members for group in found.groups] == [
        tuple(np.flatnonzero(~first).tolist()),
        tuple(np.flatnonzero(first).tolist()),
    ]
    written, other = found.groups
    assert (written.representative, other.representative) == (orders.index(tuple("badc")), 0)
    assert (written.sounds, written.radius_steps, written.diameter_steps) == (12, 0.4, 0.4)
    assert (written.nearest, written.nearest_steps, written.gap_steps) == (1, 3.0, 3.0)
    assert found.largest_inside_steps == 0.4


def test_groups_on_a_line() -> None:
    """Complete linkage by hand: 0.6 and 1.1 are joined first, and 0.0 is then 1.1 from the farther of them."""
    found = group_orders(of_line([0.0, 0.6, 1.1, 5.0]), none_identical(4))
    assert [group.members for group in found.groups] == [(1, 2), (0,), (3,)]
    assert found.group_of == (1, 0, 0, 2)
    pair, left, right = found.groups
    assert (pair.representative, pair.nearest, pair.nearest_steps) == (1, 1, 0.6)
    assert pair.gap_steps == 0.6  # under the threshold
    assert (left.nearest, right.nearest, right.nearest_steps) == (0, 0, 4.4)
    assert (right.radius_steps, right.diameter_steps) == (0.0, 0.0)


def test_just_a_step_apart_is_alike() -> None:
    assert len(group_orders(of_line([0.0, 1.0]), none_identical(2)).groups) == 1
    assert len(group_orders(of_line([0.0, np.nextafter(1.0, 2.0)]), none_identical(2)).groups) == 2


@pytest.mark.parametrize(
    ("most", "members", "largest"),
    [
        (9, [(1, 2), (0,), (3,)], 0.5),
        (3, [(1, 2), (0,), (3,)], 0.5),
        (2, [(0, 1, 2), (3,)], 1.1),
        (1, [(0, 1, 2, 3)], 5.0),
    ],
)
def test_at_most_so_many_groups(most: int, members: list[tuple[int, ...]], largest: float) -> None:
    found = group_orders(of_line([0.0, 0.6, 1.1, 5.0]), none_identical(4), most=most)
    assert [group.members for group in found.groups] == members
    assert found.largest_inside_steps == pytest.approx(largest, abs=1e-12)


def test_equal_distances_are_not_joined_one_more_than_needed() -> None:
    """Four points at the corners of a regular solid: two groups can be had, though all distances are the same."""
    distances = 2.0 * (1.0 - np.eye(4))
    assert len(group_orders(distances, none_identical(4), most=2).groups) == 2


@pytest.mark.parametrize(
    ("as_written", "representative"),
    [(None, 1), (1, 1), (2, 2), (0, 1), (3, 1)],  # 1 and 2 are as central as each other, 0 and 3 are not
)
def test_the_order_as_written_represents_its_group_if_nothing_is_more_central(
    as_written: int | None, representative: int
) -> None:
    found = group_orders(of_line([0.0, 0.1, 0.2, 0.3]), none_identical(4), as_written=as_written)
    assert [group.representative for group in found.groups] == [representative]


def test_rounding_breaks_no_tie() -> None:
    """All are as central as each other, though 0.1 + 0.2 + 0.3 is larger than 0.3 + 0.2 + 0.1."""
    distances = np.array([[0.0, 0.1, 0.2, 0.3], [0.1, 0.0, 0.3, 0.2], [0.2, 0.3, 0.0, 0.1], [0.3, 0.2, 0.1, 0.0]])
    (group,) = group_orders(distances, none_identical(4), as_written=0).groups
    assert (group.representative, distances.sum(axis=1)[0] > distances.sum(axis=1)[3]) == (0, True)


def test_what_is_identical_counts_once_for_the_middle() -> None:
    """Five times the same sound at one end does not draw the middle to it."""
    positions = [0.0] * 5 + [0.4, 0.9]
    residual_db = none_identical(7)
    residual_db[:5, :5] = -INF
    (group,) = group_orders(of_line(positions), residual_db).groups
    assert (group.representative, group.sounds, group.radius_steps, group.diameter_steps) == (5, 3, 0.5, 0.9)


def test_what_nulls_is_never_parted() -> None:
    """Even where distances would part it: 0 and 2 null, and 1, near the one, is more than a step from the other."""
    residual_db = none_identical(3)
    residual_db[0, 2] = residual_db[2, 0] = -130.0
    found = group_orders(of_line([0.0, 0.9, 2.2]), residual_db)
    assert [group.members for group in found.groups] == [(0, 2), (1,)]
    assert found.largest_inside_steps == 2.2


@given(
    st.lists(st.tuples(st.floats(0, 4, width=16), st.floats(0, 4, width=16)), min_size=1, max_size=14),
    st.floats(0.1, 3.0),
    st.integers(1, 14),
    st.data(),
)
def test_promises_hold(points: list[tuple[float, float]], threshold: float, most: int, data: st.DataObject) -> None:
    as_written = data.draw(st.integers(0, len(points) - 1))
    x = np.array(points, dtype=np.float64)
    distances = np.abs(x[:, None, :] - x[None, :, :]).max(axis=2)
    residual_db = np.where(distances == 0.0, -INF, DIFFERENT_DB)
    found = group_orders(distances, residual_db, threshold_steps=threshold, as_written=as_written)
    check_figures(found, distances, as_written)
    assert all(group.diameter_steps <= threshold for group in found.groups)
    for a, b in combinations(found.groups, 2):  # none could be joined without breaking that
        assert distances[np.ix_(a.members, b.members)].max() > threshold
    fewer = group_orders(distances, residual_db, threshold_steps=threshold, most=most, as_written=as_written)
    check_figures(fewer, distances, as_written)
    assert len(fewer.groups) == min(most, len(found.groups))


def check_figures(found: Grouping, distances: Array, as_written: int) -> None:
    """Each figure of each group by brute force."""
    everyone = range(len(distances))
    assert sorted(order for group in found.groups for order in group.members) == list(everyone)
    assert as_written in found.groups[0].members
    others = [(-len(group.members), group.members[0]) for group in found.groups[1:]]
    assert others == sorted(others)
    assert found.largest_inside_steps == max(group.diameter_steps for group in found.groups)
    for k, group in enumerate(found.groups):
        kinds = {one.members for one in found.identical if one.members[0] in group.members}
        assert group.sounds == len(kinds)
        sums = {i: sum(distances[i, kind[0]] for kind in kinds) for i in group.members}
        assert sums[group.representative] == pytest.approx(min(sums.values()), rel=1e-9, abs=1e-12)
        centre = group.representative
        assert group.radius_steps == max(distances[centre, i] for i in group.members)
        assert group.diameter_steps == max(distances[i, j] for i in group.members for j in group.members)
        outside = [j for j in everyone if j not in group.members]
        assert group.gap_steps == min((distances[i, j] for i in group.members for j in outside), default=INF)
        far = {j: distances[centre, g.representative] for j, g in enumerate(found.groups) if j != k}
        assert group.nearest_steps == min(far.values(), default=INF)
        assert group.nearest is None if not far else far[group.nearest or 0] == group.nearest_steps


def test_none_and_one() -> None:
    assert group_orders(np.empty((0, 0)), np.empty((0, 0))) == Grouping((), (), 0.0)
    (group,) = group_orders([[0.0]], [[-INF]], most=1, as_written=0).groups
    assert (group.members, group.nearest, group.nearest_steps, group.gap_steps) == ((0,), None, INF, INF)


@pytest.mark.parametrize(
    ("spoil", "options", "message"),
    [
        (lambda d, r: (d[:2], r), {}, r"distances of shape \(2, 3\), allowed: a row and a column for each order"),
        (lambda d, r: (d, r[:2, :2]), {}, "3 rows of distances, but 2 of residuals"),
        (lambda d, r: (d + np.eye(3), r), {}, "not 0 from a sound to itself"),
        (lambda d, r: (-d, r), {}, "distances that are negative"),
        (lambda d, r: (d + np.triu(d), r), {}, "distances that differ from a to b and from b to a"),
        (lambda d, r: (np.where(d == 2.0, INF, d), r), {}, "not finite"),
        (lambda d, r: (np.where(d == 2.0, math.nan, d), r), {}, "not finite"),
        (lambda d, r: (d, np.where(d == 2.0, math.nan, r)), {}, "a residual that is not a number"),
        (lambda d, r: (d, r), {"threshold_steps": -0.5}, "threshold_steps = -0.5, allowed from 0 on"),
        (lambda d, r: (d, r), {"threshold_steps": math.nan}, "threshold_steps = nan, allowed from 0 on"),
        (lambda d, r: (d, r), {"most": 0}, "most = 0 groups, allowed from 1 on"),
        (lambda d, r: (d, r), {"as_written": 3}, "as_written = 3, allowed 0 ... 2"),
    ],
)
def test_what_is_no_matrix_of_distances(
    spoil: Callable[[Array, Array], tuple[Array, Array]], options: dict[str, float], message: str
) -> None:
    distances, residual_db = spoil(of_line([0.0, 1.0, 2.0]), none_identical(3))
    with pytest.raises(SettingError, match=message):
        group_orders(distances, residual_db, **options)  # type: ignore[arg-type]
