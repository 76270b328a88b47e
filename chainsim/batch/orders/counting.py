"""Counting, listing and drawing orders under constraints, without going through all that there could be.

With S the set of units that have been placed, the number of ways to go on is

    g(S) = sum over what may come next, u:  g(S + u),   g(all) = 1                                               (1)

which is kept for every S: 2^n numbers for n units. Orders are numbered by it from 0 on, in the order of a lexicon whose
letters are the units as written, so that one drawn at random is a number drawn at random.

Source: dynamic programming over order ideals, as for counting linear extensions: G. Brightwell and P. Winkler,
"Counting linear extensions", Order 8 (1991); ranks by counts: D. E. Knuth, The Art of Computer Programming 4A, 7.2.1.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.units import Counts

MOST_UNITS = 20

Item: TypeAlias = tuple[int, ...]
"""What comes next: one unit, or several side by side."""
Order: TypeAlias = tuple[Item, ...]
Truths: TypeAlias = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Constraints:
    """What an order of n units must keep. Sets of units are bits: unit u is 1 << u.

    Attributes
    ----------
    joined : tuple of bool, one a place
        Whether the place is next to the one before it; between others stands what does not move.
    earlier : tuple of int, one a unit
        Which units must come before it.
    together : tuple of int
        Sets, none with a unit of another, that must fill places next to each other.
    lanes : tuple of int
        Those of them that may also stand side by side; then what is said of one before the other says nothing.
    """

    joined: tuple[bool, ...]
    earlier: tuple[int, ...]
    together: tuple[int, ...] = ()
    lanes: tuple[int, ...] = ()

    @property
    def size(self) -> int:
        """How many units there are."""
        return len(self.joined)


class Orders:
    """All orders that keep some constraints, numbered from 0 on."""

    def __init__(self, constraints: Constraints) -> None:
        self._constraints = constraints
        self._left = _ways_on(constraints)

    @property
    def count(self) -> int:
        """How many there are, exactly."""
        return int(self._left[0])

    def order(self, number: int) -> Order:
        """The order of a number, from 0 to `count` - 1."""
        placed, items = 0, []
        while placed.bit_count() < self._constraints.size:
            for item in self._next(placed):
                ways = self._ways(placed, item)
                if number < ways:
                    break
                number -= ways
            items.append(item)
            placed |= _bits(item)
        return tuple(items)

    def number(self, order: Order) -> int:
        """The number of an order."""
        placed, number = 0, 0
        for item in order:
            for other in self._next(placed):
                if other == item:
                    break
                number += self._ways(placed, other)
            placed |= _bits(item)
        return number

    def drawn(self, sample: int, seed: int, given: int | None) -> list[int]:
        """Numbers of so many different orders, drawn evenly; `given` is always one of them, the others are even."""
        others = sample - (given is not None)
        drawn = random.Random(seed).sample(range(self.count - (given is not None)), others)
        if given is None:
            return sorted(drawn)
        return sorted([given, *(number + (number >= given) for number in drawn)])

    def _ways(self, placed: int, item: Item) -> int:
        return int(self._left[placed | _bits(item)])

    def _next(self, placed: int) -> list[Item]:
        """What may come next: single units as written, then those side by side."""
        state = np.array([placed])
        rules = self._constraints
        single = [(u,) for u in range(rules.size) if _may_follow(rules, state, u)[0]]
        lanes = [tuple(_members(s)) for s in rules.lanes if _may_stand_in_lanes(rules, state, s)[0]]
        return [*single, *lanes]


def _ways_on(rules: Constraints) -> Counts:
    """Number of ways to go on, by the set that has been placed: (1), from all placed back to none."""
    n = rules.size
    sets = np.arange(1 << n, dtype=np.int64)
    sizes = np.bitwise_count(sets)
    left = np.zeros(1 << n, np.int64)  # the largest, 20! and one more, is below 2^63
    left[-1] = 1
    for size in range(n - 1, -1, -1):
        here = sets[sizes == size]
        for u in range(n):
            open_ = here[_may_follow(rules, here, u)]
            left[open_] += left[open_ | 1 << u]
        for lanes in rules.lanes:
            open_ = here[_may_stand_in_lanes(rules, here, lanes)]
            left[open_] += left[open_ | lanes]
    return left


def _may_follow(rules: Constraints, placed: Counts, u: int) -> Truths:
    """Whether a unit may come next, for sets of one size that have been placed."""
    bit = 1 << u
    may: Truths = (placed & bit == 0) & (placed & rules.earlier[u] == rules.earlier[u])
    joined = rules.joined[int(placed[0]).bit_count()] if placed.size else True
    for members in rules.together:
        begun = (placed & members != 0) & (placed & members != members)
        may &= ~begun if not (members & bit and joined) else True
    return may


def _may_stand_in_lanes(rules: Constraints, placed: Counts, lanes: int) -> Truths:
    """Whether a set may come next as lanes, for sets of one size that have been placed."""
    units = _members(lanes)
    place = int(placed[0]).bit_count() if placed.size else 0
    if place + len(units) > rules.size or not all(rules.joined[place + 1 : place + len(units)]):
        return np.zeros(placed.shape, bool)
    earlier = 0
    for u in units:
        earlier |= rules.earlier[u] & ~lanes
    may: Truths = (placed & lanes == 0) & (placed & earlier == earlier)
    for members in rules.together:
        may &= (placed & members == 0) | (placed & members == members)
    return may


def _members(bits: int) -> list[int]:
    return [u for u in range(bits.bit_length()) if bits >> u & 1]


def _bits(item: Item) -> int:
    return sum(1 << u for u in item)
