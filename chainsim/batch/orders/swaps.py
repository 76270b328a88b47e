"""What it means to exchange two neighbours, or to set them side by side: which commute, how audible the others are."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.batch.orders.grouping import AUDIBLE_STEPS
from chainsim.batch.orders.places import Arrangement, Places, places_of
from chainsim.batch.orders.units import bracketed
from chainsim.errors import SettingError
from chainsim.measure.null import NULL_DB
from chainsim.units import Array

Pair: TypeAlias = tuple[tuple[str, ...], tuple[int, int]]
"""Units, and two orders that differ by them alone."""
Change: TypeAlias = Callable[[Places], Iterator[Pair]]
"""Finds all such pairs for one kind of change."""


@dataclass(frozen=True)
class Swap:
    """What a change among neighbours does to the sound, over all orders where it can be made.

    Attributes
    ----------
    units : tuple of str
        Which are changed. Units that stand in lanes are exchanged with another one together: "echo | plate". Between
        two that are exchanged nothing stands that moves in any of the orders.
    count : int
        Pairs of orders that differ by this change and by nothing else.
    nulls : int
        In how many of them the two sounds are identical.
    worst_null_db : float or None
        Largest residual among those; minus infinity: equal samples; None if there are none.
    audible : int
        In how many the two sounds are farther apart than the threshold.
    least_steps, median_steps, largest_steps : float
        Distances between the two sounds.
    """

    units: tuple[str, ...]
    count: int
    nulls: int
    worst_null_db: float | None
    audible: int
    least_steps: float
    median_steps: float
    largest_steps: float

    @property
    def commutes(self) -> bool:
        """Whether it never makes a difference."""
        return self.nulls == self.count

    def __str__(self) -> str:
        return f"{', '.join(bracketed(unit) for unit in self.units)}: {self._found()}"

    def _found(self) -> str:
        if self.commutes:
            residual = "the same samples" if self.worst_null_db == -math.inf else f"{self.worst_null_db:.0f} dB"
            return f"null ({residual}) in all {self.count}" if self.count > 1 else f"null ({residual})"
        steps = f"{self.least_steps:.1f} to {self.largest_steps:.1f} steps"
        if f"{self.least_steps:.1f}" == f"{self.largest_steps:.1f}":
            steps = f"{self.largest_steps:.1f} steps"
        null = f", {self.nulls} null" if self.nulls else ""
        return f"{self.audible} of {self.count} audible{null}, {steps}"


def find_swaps(
    orders: Sequence[Arrangement],
    distances: npt.ArrayLike,
    residuals_db: npt.ArrayLike,
    *,
    change: Change | None = None,
    threshold_steps: float = AUDIBLE_STEPS,
    null_db: float = NULL_DB,
) -> tuple[Swap, ...]:
    """Gather what every change among neighbours does to the sound.

    Parameters
    ----------
    orders : sequence of arrangements
        As for `common_relations`.
    distances, residuals_db : array_like, shape (orders, orders)
        As for `group_orders`.
    change : callable, optional
        Finds the pairs of orders: `exchanges`, which it is by default, or `forks`.
    threshold_steps : float
        What lies farther apart is audible.
    null_db : float
        Residual up to which two orders are identical.

    Returns
    -------
    tuple of Swap
        The largest median first, then the largest distance, then as the orders have them; what is never changed is
        left out.

    Raises
    ------
    SettingError
        If the orders are not made of the same units, or the matrices have another shape.
    """
    steps, residuals = np.asarray(distances, dtype=np.float64), np.asarray(residuals_db, dtype=np.float64)
    if not steps.shape == residuals.shape == (len(orders), len(orders)):
        raise SettingError(f"orders: {len(orders)}, but matrices of shapes {steps.shape} and {residuals.shape}")
    found: dict[tuple[str, ...], list[tuple[int, int]]] = {}
    for units, pair in (change or exchanges)(places_of(orders)):
        found.setdefault(units, []).append(pair)
    swaps = [_swap(units, pairs, steps, residuals, threshold_steps, null_db) for units, pairs in found.items()]
    return tuple(sorted(swaps, key=lambda s: (-s.median_steps, -s.largest_steps)))


def exchanges(places: Places) -> Iterator[Pair]:
    """Every two orders that differ by an exchange of neighbours, once; what never moves may stand between them."""
    where = _index(places)
    moves = _moving(places)
    for i, row in enumerate(places.before):
        for here, there in pairwise(np.unique(row[moves]).tolist()):
            first, second = row == here, row == there
            longer = int(np.count_nonzero(second) - np.count_nonzero(first))
            between = np.where((here < row) & (row < there), row + longer, row)
            j = where.get(np.where(first, there + longer, np.where(second, here, between)).tobytes())
            if j is not None and i < j:
                names = [(int(np.argmax(step)), " | ".join(_named(places, step))) for step in (first, second)]
                yield tuple(name for _, name in sorted(names)), (i, j)


def forks(places: Places) -> Iterator[Pair]:
    """Every two orders of which one has units in lanes and the other has them in series instead, in any sequence."""
    where = _index(places)
    for i, row in enumerate(places.before):
        for here in np.unique(row).tolist():
            lanes = np.flatnonzero(row == here)
            for sequence in permutations(range(lanes.size)) if lanes.size > 1 else ():
                series = row.copy()
                series[lanes] = here + np.array(sequence)
                j = where.get(series.tobytes())
                if j is not None:
                    yield _named(places, row == here), (i, j)


def _moving(places: Places) -> npt.NDArray[np.bool_]:
    """Which units change places in any of the orders, or stand in lanes in one."""
    moves: npt.NDArray[np.bool_] = places.before.min(axis=0) != places.before.max(axis=0)
    for row in places.before:
        moves |= np.count_nonzero(row[:, None] == row, axis=1) > 1
    return moves


def _index(places: Places) -> dict[bytes, int]:
    return {row.tobytes(): i for i, row in enumerate(places.before)}


def _named(places: Places, step: npt.NDArray[np.bool_]) -> tuple[str, ...]:
    return tuple(places.units[k] for k in np.flatnonzero(step))


def _swap(
    units: tuple[str, ...],
    pairs: list[tuple[int, int]],
    steps: Array,
    residuals_db: Array,
    threshold_steps: float,
    null_db: float,
) -> Swap:
    i, j = np.array(pairs).T
    apart, residual_db = steps[i, j], residuals_db[i, j]
    null = residual_db <= null_db
    return Swap(
        units=units,
        count=len(pairs),
        nulls=int(np.count_nonzero(null)),
        worst_null_db=float(residual_db[null].max()) if null.any() else None,
        audible=int(np.count_nonzero(apart > threshold_steps)),
        least_steps=float(apart.min()),
        median_steps=float(np.median(apart)),
        largest_steps=float(apart.max()),
    )
