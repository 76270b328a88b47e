"""An integer program written row by row, solved exactly by `scipy.optimize.milp`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from chainsim.errors import SettingError
from chainsim.units import Array

MOST_NODES = 200_000
"""Of the search tree: a count beside a time, so that every machine finds the same where it can."""
TOO_LARGE = "too many ways to choose; give fewer items, or fewer patches"

_OPTIMAL, _INFEASIBLE = 0, 2


class SearchTooLargeError(SettingError):
    """There are too many ways to choose; none has been found, and `bound` is what the least is at least."""

    def __init__(self, message: str, bound: float = -math.inf) -> None:
        super().__init__(message)
        self.bound = bound


@dataclass(frozen=True)
class Solution:
    """Values of all variables; whether no sum is less; and what is proven of the least sum."""

    values: Array
    is_best: bool
    bound: float


class IntegerProgram:
    """Variables between 0 and a bound, linear rows, one line to minimise."""

    def __init__(self) -> None:
        self._highs: list[float] = []
        self._whole: list[bool] = []
        self._rows: list[tuple[dict[int, float], float, float]] = []

    def variable(self, *, high: float = 1.0, whole: bool = True) -> int:
        """A new variable from 0 to `high`; its number."""
        self._highs.append(high)
        self._whole.append(whole)
        return len(self._highs) - 1

    def row(self, terms: Mapping[int, float], low: float = -math.inf, high: float = math.inf) -> None:
        """Keep a sum of multiples of variables between two bounds.

        Rows are brought to one size: what the solver takes for exact is then as exact in all of them.
        """
        size = max((abs(value) for value in terms.values()), default=0.0) or 1.0
        self._rows.append(({k: value / size for k, value in terms.items()}, low / size, high / size))

    def minimise(
        self, terms: Mapping[int, float], *, most_nodes: int = MOST_NODES, seconds: float = math.inf, gap: float = 0.0
    ) -> Solution | None:
        """The values of all variables where the sum is least; None if no values satisfy the rows.

        With a `gap`, any solution will do whose sum is at most so much larger than the bound, as a part of it.

        Raises
        ------
        SearchTooLargeError
            If no solution is found within `most_nodes` nodes of the search tree, or not as soon as that.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        count = len(self._highs)
        cost = np.zeros(count)
        cost[list(terms)] = list(terms.values())
        entries: Sequence[tuple[float, int, int]] = [
            (value, i, k) for i, (row, _, _) in enumerate(self._rows) for k, value in row.items()
        ]
        values, rows, columns = zip(*entries, strict=True) if entries else ((), (), ())
        matrix = csr_array((values, (rows, columns)), shape=(len(self._rows), count), dtype=float)
        bounds = [low for _, low, _ in self._rows], [high for _, _, high in self._rows]
        limits = {} if seconds == math.inf else {"time_limit": seconds}
        found = milp(
            cost,
            integrality=np.array(self._whole, dtype=int),
            bounds=Bounds(np.zeros(count), np.array(self._highs)),
            constraints=LinearConstraint(matrix, *bounds) if self._rows else None,
            options={"mip_rel_gap": gap, "node_limit": most_nodes, **limits},
        )
        if found.status == _INFEASIBLE:
            return None
        bound = -math.inf if found.mip_dual_bound is None else float(found.mip_dual_bound)
        if found.x is None:
            raise SearchTooLargeError(TOO_LARGE, bound)
        is_best = found.status == _OPTIMAL and gap == 0.0
        return Solution(np.where(self._whole, np.round(found.x), found.x), is_best, bound)
