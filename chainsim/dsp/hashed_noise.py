"""Random numbers by place rather than by turn: the same index gives the same number, in whatever order it is asked.

    z = seed + (index + 1) G;  z = (z ^ z >> 30) M1;  z = (z ^ z >> 27) M2;  z ^ z >> 31                   (1)

modulo 2^64: the splitmix64 generator at step index + 1.

References
----------
.. [1] G. L. Steele, D. Lea, C. H. Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014.
"""

from __future__ import annotations

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array


@kernel
def hashed(seed: int, index: int) -> float:
    """Number in -1 <= r < 1 for an index, evenly distributed: the upper 53 bits of equation (1)."""
    z = np.uint64(seed) + (np.uint64(np.int64(index)) + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z = z ^ (z >> np.uint64(31))
    value: float = float(z >> np.uint64(11)) * 2.0**-52 - 1.0
    return value


@kernel
def white_noise(seed: int, n0: int, y: Array) -> None:
    """Fill y (frames,) with noise, evenly distributed between -1 and 1; frame i is that of absolute sample n0 + i."""
    for i in range(y.shape[0]):
        y[i] = hashed(seed, n0 + i)
