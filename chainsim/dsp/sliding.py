"""Largest value and sum over the last W samples, at the same cost for any W, and exact.

The samples are cut into blocks of W. A window is the end of one block and the beginning of the next, so it is made
of one value of the last block, gone over backwards when it was full, and of one that runs along (van Herk; Gil,
Werman). For a sum this never subtracts, so nothing is left over where a loud sound has gone by.

Values are never negative. A ring has W + 1 places, of which the last stays 0; `at` is the place in the block, and both
begin, like the running value, at 0.

References
----------
.. [1] M. van Herk, "A fast algorithm for local minimum and maximum filters on rectangular and octagonal kernels",
   Pattern Recognition Letters 13, 1992, 517-521.
.. [2] J. Gil, M. Werman, "Computing 2-D min, median, and max filters", IEEE PAMI 15(5), 1993, 504-507.
"""

from __future__ import annotations

from chainsim.kernel import kernel
from chainsim.units import Array


@kernel
def sliding_max(value: float, ring: Array, at: int, running: float) -> tuple[float, int, float]:
    """Return the largest of `value` and the W - 1 before it, then the new `at` and `running`."""
    running = max(running, value)
    found = max(running, ring[at + 1])
    ring[at] = value
    at += 1
    if at == ring.shape[0] - 1:
        for k in range(at - 2, -1, -1):
            ring[k] = max(ring[k], ring[k + 1])
        return found, 0, 0.0
    return found, at, running


@kernel
def sliding_sum(value: float, ring: Array, at: int, running: float) -> tuple[float, int, float]:
    """Return the sum of `value` and the W - 1 before it, then the new `at` and `running`."""
    running += value
    found = running + ring[at + 1]
    ring[at] = value
    at += 1
    if at == ring.shape[0] - 1:
        for k in range(at - 2, -1, -1):
            ring[k] += ring[k + 1]
        return found, 0, 0.0
    return found, at, running
