"""The fewest columns, against brute force and against the bound of the greedy rule."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from chainsim.batch.orders.set_cover import MOST_TRIALS, fewest_columns


def covers(table: np.ndarray, columns: list[int]) -> bool:
    return bool(table[:, columns].any(axis=1).all())


@st.composite
def tables(draw: st.DrawFn) -> np.ndarray:
    columns = draw(st.integers(1, 7))
    row = st.lists(st.booleans(), min_size=columns, max_size=columns).filter(any)
    return np.array(draw(st.lists(row, max_size=12)), dtype=np.bool_).reshape(-1, columns)


def fewest_by_brute_force(table: np.ndarray) -> list[int]:
    sets = (list(c) for size in range(table.shape[1] + 1) for c in combinations(range(table.shape[1]), size))
    return next(columns for columns in sets if covers(table, columns))


@given(tables())
def test_fewest(table: np.ndarray) -> None:
    found = fewest_columns(table)
    assert covers(table, found)
    assert len(found) == len(fewest_by_brute_force(table))
    if not (np.count_nonzero(table, axis=1) == 1).any():
        assert found == fewest_by_brute_force(table)  # the first of them in a lexicon


@given(tables())
def test_one_by_one(table: np.ndarray) -> None:
    """Chvatal 1979: at most 1 + 1/2 + ... + 1/d times as many, d the most rows that a column holds; and none idle."""
    found = fewest_columns(table, most_trials=0)
    assert covers(table, found)
    assert not any(covers(table, [k for k in found if k != left]) for left in found)
    most = int(table.sum(axis=0).max(initial=0))
    assert len(found) <= sum(1 / d for d in range(1, most + 1)) * len(fewest_by_brute_force(table)) + 1e-9


def test_where_one_by_one_takes_more() -> None:
    """By hand: all columns but one hold two rows; the first of them leaves two rows that need a column each."""
    table = np.array([[0, 1, 1, 0, 0], [1, 1, 0, 1, 0], [0, 0, 0, 1, 1], [1, 0, 0, 0, 1]], dtype=np.bool_)
    assert fewest_columns(table) == [1, 4]
    assert fewest_columns(table, most_trials=0) == [0, 1, 3]


def test_many_columns() -> None:
    """More sets than are tried: 60 columns, of which any 8 would be 2.6e9."""
    table = np.random.default_rng(3).random((400, 60)) < 0.25
    table[:, 0] |= ~table.any(axis=1)
    found = fewest_columns(table)
    assert covers(table, found)
    assert math.comb(60, 5) > MOST_TRIALS
    assert 5 < len(found) <= 20
