"""Which orders are the same sound, and which sound alike.

Identical are orders that null against each other, directly or by way of others. What sounds alike is found by complete
linkage [1]_ over the distances between sounds: a group's diameter is the distance at which it was joined, so cut at an
audibility threshold no two of a group differ by more than that.

References
----------
.. [1] D. Defays, "An efficient algorithm for a complete link method", The Computer Journal 20(4), 1977.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.errors import SettingError
from chainsim.measure.null import NULL_DB
from chainsim.units import Array

AUDIBLE_STEPS = 1.0
"""Distance up to which two sounds pass for one: a step is what is just audible."""

TIE = 1e-9
"""Sums of distances closer than this, of their size, differ by rounding alone."""

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Identical:
    """Orders that give one and the same sound.

    Attributes
    ----------
    members : tuple of int
        Which orders, rising.
    worst_null_db : float
        Largest residual between two of them; minus infinity for equal samples, and for an order that is alone.
    all_null : bool
        Whether every two of them null; if not, some are here by way of others only.
    """

    members: tuple[int, ...]
    worst_null_db: float
    all_null: bool


@dataclass(frozen=True)
class Group:
    """Orders that sound alike.

    Attributes
    ----------
    members : tuple of int
        Which orders, rising.
    sounds : int
        How many of them are left when those that are identical count as one.
    representative : int
        The most central member.
    radius_steps, diameter_steps : float
        Distance from the representative to the farthest member, and between the two members farthest apart.
    nearest : int or None
        The group whose representative is nearest to this one's; None if there is no other.
    nearest_steps : float
        How far these two representatives are apart; infinite without another group.
    gap_steps : float
        Least distance between a member and an order of another group. It may be under the threshold: the two were not
        joined because of others, farther away.
    """

    members: tuple[int, ...]
    sounds: int
    representative: int
    radius_steps: float
    diameter_steps: float
    nearest: int | None
    nearest_steps: float
    gap_steps: float


@dataclass(frozen=True)
class Grouping:
    """What `group_orders` found.

    Attributes
    ----------
    groups : tuple of Group
        The one with the order as written first, then by size, then by first member.
    identical : tuple of Identical
        Every order is in one of them; by first member.
    largest_inside_steps : float
        Largest distance between two orders of one group.
    """

    groups: tuple[Group, ...]
    identical: tuple[Identical, ...]
    largest_inside_steps: float

    @property
    def group_of(self) -> tuple[int, ...]:
        """For each order the number of its group."""
        found = {order: k for k, group in enumerate(self.groups) for order in group.members}
        return tuple(found[order] for order in range(len(found)))


def group_orders(
    distances: npt.ArrayLike,
    residuals_db: npt.ArrayLike,
    *,
    threshold_steps: float = AUDIBLE_STEPS,
    most: int | None = None,
    as_written: int | None = None,
    null_db: float = NULL_DB,
) -> Grouping:
    """Gather orders into groups that sound alike.

    Parameters
    ----------
    distances : array_like, shape (orders, orders)
        Between each two sounds in steps: finite, not negative, symmetric, 0 on the diagonal.
    residuals_db : array_like, shape (orders, orders)
        What is left of each two when one is taken from the other; minus infinity for equal samples.
    threshold_steps : float >= 0
        How far two orders of a group may be apart at most.
    most : int >= 1, optional
        If there are more groups at that threshold, the nearest are joined until so many are left.
    as_written : int, optional
        Which order is the sketch's own.
    null_db : float
        Residual up to which two orders are identical.

    Returns
    -------
    Grouping

    Raises
    ------
    SettingError
        If a matrix is not one of distances or residuals, or a number is outside its range.
    """
    steps, residuals = _square(distances, "distances"), _square(residuals_db, "residuals")
    if steps.shape != residuals.shape:
        raise SettingError(f"orders: {len(steps)} rows of distances, but {len(residuals)} of residuals")
    if not np.isfinite(steps).all() or (steps < 0.0).any() or np.diag(steps).any():
        raise SettingError("orders: distances that are negative, not finite, or not 0 from a sound to itself")
    if np.isnan(residuals).any():
        raise SettingError("orders: a residual that is not a number")
    check_grouping(threshold_steps, most)
    if as_written is not None and not 0 <= as_written < len(steps):
        raise SettingError(f"orders: as_written = {as_written}, allowed 0 ... {len(steps) - 1}")
    identical = identical_orders(residuals, null_db)
    between = _between(steps, [np.array(one.members) for one in identical])
    labels = _complete_linkage(between, threshold_steps, most)
    sets = [np.flatnonzero(labels == label) for label in np.unique(labels)]
    members = [np.sort(np.concatenate([identical[item].members for item in items])) for items in sets]
    order = sorted(range(len(sets)), key=lambda k: (as_written not in members[k], -members[k].size, members[k][0]))
    sets, members = [sets[k] for k in order], [members[k] for k in order]
    centres = [_centre(between, items, identical, as_written) for items in sets]
    groups = tuple(_group(steps, members, centres, k, items.size) for k, items in enumerate(sets))
    return Grouping(groups, identical, max((g.diameter_steps for g in groups), default=0.0))


def check_grouping(threshold_steps: float, most: int | None) -> None:
    """Refuse numbers that `group_orders` would refuse."""
    if not threshold_steps >= 0.0:
        raise SettingError(f"orders: threshold_steps = {threshold_steps:g}, allowed from 0 on")
    if most is not None and most < 1:
        raise SettingError(f"orders: most = {most} groups, allowed from 1 on")


def identical_orders(residuals_db: npt.ArrayLike, null_db: float = NULL_DB) -> tuple[Identical, ...]:
    """Gather orders that null against each other, directly or by way of others.

    Parameters
    ----------
    residuals_db : array_like, shape (orders, orders)
        As for `group_orders`.
    null_db : float
        Residual up to which two orders are identical.

    Returns
    -------
    tuple of Identical
        By first member; every order is in one.
    """
    from scipy.sparse.csgraph import connected_components

    residuals = _square(residuals_db, "residuals")
    if not residuals.size:
        return ()
    _, labels = connected_components(residuals <= null_db, directed=False)
    _, first = np.unique(labels, return_index=True)
    return tuple(_identical(residuals, np.flatnonzero(labels == labels[i]), null_db) for i in np.sort(first))


def _identical(residuals_db: Array, members: IntArray, null_db: float) -> Identical:
    pairs = residuals_db[np.ix_(members, members)][np.triu_indices(members.size, 1)]
    worst_db = float(pairs.max(initial=-math.inf))
    return Identical(_numbers(members), worst_db, members.size == 1 or worst_db <= null_db)


def _between(steps: Array, items: Sequence[IntArray]) -> Array:
    """Distance between items, the largest between a member of one and a member of the other; 0 on the diagonal."""
    if not items:
        return steps
    starts = np.cumsum([0, *(item.size for item in items[:-1])])
    sorted_steps = steps[np.ix_(np.concatenate(items), np.concatenate(items))]
    between: Array = np.maximum.reduceat(np.maximum.reduceat(sorted_steps, starts, axis=0), starts, axis=1)
    np.fill_diagonal(between, 0.0)
    return between


def _complete_linkage(between: Array, threshold_steps: float, most: int | None) -> IntArray:
    """For each item the label of its group."""
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    if len(between) < 2:
        return np.zeros(len(between), dtype=np.int64)
    tree = linkage(squareform(between, checks=False), "complete")
    joins = int(np.count_nonzero(tree[:, 2] <= threshold_steps))
    if most is not None:
        joins = max(joins, len(between) - most)
    labels: IntArray = fcluster(tree, joins - 1, "monocrit", monocrit=np.arange(len(tree), dtype=np.float64))
    return labels


def _centre(between: Array, items: IntArray, identical: Sequence[Identical], as_written: int | None) -> int:
    """The member with the least sum of distances; the order as written where that is one of several, else the first."""
    sums = between[np.ix_(items, items)].sum(axis=1)
    ties = items[sums <= sums.min() * (1.0 + TIE)]
    candidates = [order for item in ties for order in identical[item].members]
    return as_written if as_written is not None and as_written in candidates else min(candidates)


def _group(steps: Array, members: Sequence[IntArray], centres: Sequence[int], k: int, sounds: int) -> Group:
    own, centre = members[k], centres[k]
    others = [j for j in range(len(members)) if j != k]
    nearest = min(others, key=lambda j: float(steps[centre, centres[j]]), default=None)
    outside = np.ones(len(steps), dtype=np.bool_)
    outside[own] = False
    return Group(
        members=_numbers(own),
        sounds=int(sounds),
        representative=centre,
        radius_steps=float(steps[centre, own].max()),
        diameter_steps=float(steps[np.ix_(own, own)].max()),
        nearest=nearest,
        nearest_steps=math.inf if nearest is None else float(steps[centre, centres[nearest]]),
        gap_steps=float(steps[np.ix_(own, outside)].min(initial=math.inf)),
    )


def _square(matrix: npt.ArrayLike, what: str) -> Array:
    values = np.asarray(matrix, dtype=np.float64)
    if values.ndim != 2 or values.shape[0] != values.shape[1]:
        raise SettingError(f"orders: {what} of shape {values.shape}, allowed: a row and a column for each order")
    if not np.array_equal(values, values.T, equal_nan=True):
        raise SettingError(f"orders: {what} that differ from a to b and from b to a")
    return values


def _numbers(orders: IntArray) -> tuple[int, ...]:
    return tuple(int(order) for order in orders)
