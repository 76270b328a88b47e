"""The fewest sets that together hold everything: exactly where that can be tried, else one by one.

One by one is the greedy rule of [1]_, whose covers are at most 1 + ln(rows) times too large, without what turns out to
be idle.

References
----------
.. [1] V. Chvatal, "A greedy heuristic for the set-covering problem", Mathematics of Operations Research 4(3), 1979.
"""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import numpy.typing as npt

MOST_TRIALS = 20_000
"""Sets of columns tried; where there are more, the columns are chosen one by one."""

BoolArray = npt.NDArray[np.bool_]


def fewest_columns(table: BoolArray) -> list[int]:
    """Choose the fewest columns so that every row has a True in one of them.

    Parameters
    ----------
    table : ndarray of bool, shape (rows, columns)
        Every row has at least one True.

    Returns
    -------
    list of int
        Rising; of several choices as good, the one with the first columns.
    """
    only_one = table[np.count_nonzero(table, axis=1) == 1]
    needed = np.flatnonzero(only_one.any(axis=0)).tolist()
    open_rows = np.unique(table[~table[:, needed].any(axis=1)], axis=0)
    if not len(open_rows):
        return needed
    columns = np.flatnonzero(open_rows.any(axis=0)).tolist()
    rows_of = {k: sum(1 << int(i) for i in np.flatnonzero(open_rows[:, k])) for k in columns}
    every_row = (1 << len(open_rows)) - 1
    return sorted([*needed, *(_exactly(rows_of, every_row) or _one_by_one(rows_of, every_row))])


def _exactly(rows_of: dict[int, int], every_row: int) -> list[int]:
    """The fewest columns; none if that would take too many trials."""
    trials = 0
    for size in range(1, len(rows_of) + 1):
        trials += math.comb(len(rows_of), size)
        if trials > MOST_TRIALS:
            break
        for found in combinations(rows_of, size):
            if _rows(rows_of, found) == every_row:
                return list(found)
    return []


def _one_by_one(rows_of: dict[int, int], every_row: int) -> list[int]:
    chosen: list[int] = []
    covered = 0
    while covered != every_row:
        gains = {k: (rows & ~covered).bit_count() for k, rows in rows_of.items()}
        chosen.append(max(gains, key=gains.__getitem__))
        covered |= rows_of[chosen[-1]]
    for k in list(chosen):
        others = [other for other in chosen if other != k]
        if _rows(rows_of, others) == every_row:
            chosen = others
    return chosen


def _rows(rows_of: dict[int, int], columns: tuple[int, ...] | list[int]) -> int:
    covered = 0
    for k in columns:
        covered |= rows_of[k]
    return covered
