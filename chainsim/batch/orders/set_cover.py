"""The fewest sets that together hold everything: exactly where that can be tried, else one by one.

One by one is the greedy rule of [1]_, whose covers are at most 1 + ln(rows) times too large, without what turns out to
be idle.

References
----------
.. [1] V. Chvatal, "A greedy heuristic for the set-covering problem", Mathematics of Operations Research 4(3), 1979.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

MOST_TRIALS = 20_000
"""Sets of columns tried; where more would have to be, the columns are chosen one by one."""

BoolArray = npt.NDArray[np.bool_]


def fewest_columns(table: BoolArray, most_trials: int = MOST_TRIALS) -> list[int]:
    """Choose the fewest columns so that every row has a True in one of them.

    Parameters
    ----------
    table : ndarray of bool, shape (rows, columns)
        Every row has at least one True.
    most_trials : int
        Sets of columns that are tried before they are chosen one by one.

    Returns
    -------
    list of int
        Rising; of several choices as good, the one with the first columns.
    """
    only_one = table[np.count_nonzero(table, axis=1) == 1]
    needed = np.flatnonzero(only_one.any(axis=0)).tolist()
    open_rows = table[~table[:, needed].any(axis=1)]
    open_rows = open_rows[different(open_rows)]
    if not len(open_rows):
        return needed
    columns = np.flatnonzero(open_rows.any(axis=0)).tolist()
    packed = np.packbits(open_rows, axis=0, bitorder="little")
    rows_of = {k: int.from_bytes(packed[:, k].tobytes(), "little") for k in columns}
    every_row = (1 << len(open_rows)) - 1
    exact = _Search(rows_of, every_row, most_trials).fewest()
    return sorted([*needed, *(exact or _one_by_one(rows_of, every_row))])


def different(rows: BoolArray) -> list[int]:
    """Which rows are not like one before them."""
    packed = np.packbits(rows, axis=1)
    size, text = packed.shape[1], packed.tobytes()
    first: dict[bytes, int] = {}
    for i in range(len(packed)):
        first.setdefault(text[i * size : (i + 1) * size], i)
    return list(first.values())


class _Search:
    """Sets of columns, smaller ones first and then as in a lexicon; beginnings that lead nowhere are passed over."""

    def __init__(self, rows_of: dict[int, int], every_row: int, most_trials: int) -> None:
        self._names, self._rows = list(rows_of), list(rows_of.values())
        self._every_row, self._trials = every_row, most_trials
        self._behind = [0] * (
            len(self._rows) + 1
        )  # rows that a column and those after it hold together, the most in one
        self._largest = [0] * (len(self._rows) + 1)
        for k in reversed(range(len(self._rows))):
            self._behind[k] = self._behind[k + 1] | self._rows[k]
            self._largest[k] = max(self._largest[k + 1], self._rows[k].bit_count())

    def fewest(self) -> list[int]:
        """The fewest columns; none if that would take too many trials."""
        for size in range(1, len(self._rows) + 1):
            found = self._from(0, self._every_row, size)
            if found or self._trials < 0:
                return [self._names[k] for k in found]
        return []

    def _from(self, first: int, missing: int, size: int) -> list[int]:
        """So many columns, none before the first, that hold all that is missing."""
        for k in range(first, len(self._rows) - size + 1):
            if missing & ~self._behind[k] or missing.bit_count() > size * self._largest[k]:
                break
            self._trials -= 1
            if self._trials < 0:
                break
            left = missing & ~self._rows[k]
            if size == 1 and not left:
                return [k]
            if size > 1 and (found := self._from(k + 1, left, size - 1)):
                return [k, *found]
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
