"""Theory of what commutes: P. Cartier, D. Foata, "Problemes combinatoires de commutation et rearrangements", 1969.

Two orders of the same units give the same sound by theory if every two units that do not commute stand in the same
sequence in both; then one can be reached from the other by exchanging neighbours that commute.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations, permutations

import numpy as np

from chainsim.units import Array

IDENTICAL_DB = -290.0
DIFFERENT_DB = -20.0

Order = tuple[str, ...]


def all_orders(units: Iterable[str]) -> list[Order]:
    return list(permutations(units))


def dependent_pairs(units: Sequence[str], commuting: Iterable[str]) -> list[tuple[str, str]]:
    """Pairs that do not commute; units are letters, commuting pairs two of them."""
    commute = {frozenset(pair) for pair in commuting}
    return [pair for pair in combinations(units, 2) if frozenset(pair) not in commute]


def trace(order: Order, dependent: Iterable[tuple[str, str]]) -> tuple[bool, ...]:
    """Which comes first of each two that do not commute."""
    return tuple(order.index(a) < order.index(b) for a, b in dependent)


def residuals(orders: Sequence[Order], commuting: Iterable[str]) -> Array:
    """What is left of each two, by theory."""
    dependent = dependent_pairs(sorted(orders[0]), commuting)
    traces = np.array([trace(order, dependent) for order in orders]).reshape(len(orders), -1)
    same = (traces[:, None, :] == traces[None, :, :]).all(axis=2)
    found: Array = np.where(same, IDENTICAL_DB, DIFFERENT_DB)
    np.fill_diagonal(found, -np.inf)
    return found


def acyclic_orientations(units: frozenset[str], edges: frozenset[frozenset[str]]) -> int:
    """By deletion and contraction: R. P. Stanley, "Acyclic orientations of graphs", Discrete Mathematics 5, 1973."""
    if not edges:
        return 1
    edge = min(edges, key=sorted)
    keep, gone = sorted(edge)
    merged = frozenset(frozenset(keep if u == gone else u for u in e) for e in edges - {edge})
    return acyclic_orientations(units, edges - {edge}) + acyclic_orientations(units - {gone}, merged)
