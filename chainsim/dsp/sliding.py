"""Largest value and sum over the last W samples, at the same cost for any W, and exact.

The samples are cut into blocks of W. A window is the end of one block and the beginning of the next, so it is made
of one value of the last block, gone over backwards when it was full, and of one that runs along (van Herk; Gil,
Werman). For a sum this never subtracts, so nothing is left over where a loud sound has gone by.

Values are never negative. A ring has W + 1 places, of which the last stays 0. Its state, all 0 at the start: the ring,
the place in the block, the value that runs along.

References
----------
.. [1] M. van Herk, "A fast algorithm for local minimum and maximum filters on rectangular and octagonal kernels",
   Pattern Recognition Letters 13, 1992, 517-521.
.. [2] J. Gil, M. Werman, "Computing 2-D min, median, and max filters", IEEE PAMI 15(5), 1993, 504-507.
"""

from __future__ import annotations

from chainsim.kernel import kernel
from chainsim.units import Array, Counts


@kernel
def sliding_max(row: Array, ring: Array, place: Counts, running: Array) -> None:
    """Turn each value of `row` (frames,) into the largest of it and the W - 1 before it.

    State: ring (W + 1,), place (1,) int64, running (1,).
    """
    size, at, largest = ring.shape[0] - 1, place[0], running[0]
    first = 0
    while first < row.shape[0]:
        n = min(size - at, row.shape[0] - first)
        for i in range(n):
            value = row[first + i]
            largest = max(largest, value)
            row[first + i] = max(largest, ring[at + i + 1])
            ring[at + i] = value
        first, at = first + n, at + n
        if at == size:
            for i in range(size - 2, -1, -1):
                ring[i] = max(ring[i], ring[i + 1])
            at, largest = 0, 0.0
    place[0], running[0] = at, largest


@kernel
def sliding_sum(row: Array, ring: Array, place: Counts, running: Array) -> None:
    """Turn each value of `row` (frames,) into the sum of it and the W - 1 before it; state as in `sliding_max`."""
    size, at, total = ring.shape[0] - 1, place[0], running[0]
    first = 0
    while first < row.shape[0]:
        n = min(size - at, row.shape[0] - first)
        for i in range(n):
            value = row[first + i]
            total += value
            row[first + i] = total + ring[at + i + 1]
            ring[at + i] = value
        first, at = first + n, at + n
        if at == size:
            for i in range(size - 2, -1, -1):
                ring[i] += ring[i + 1]
            at, total = 0, 0.0
    place[0], running[0] = at, total
