"""Gaussian noise by place rather than by turn: frame n is the same number in whatever span it is asked for.

Two numbers u, v, evenly distributed and drawn by the number of the pair that frame n belongs to, become two that are
Gaussian, with mean 0 and variance 1, and independent [1]_:

    r = sqrt(-2 ln u),   y[2p] = r cos(2 pi v),   y[2p + 1] = r sin(2 pi v)                                      (1)

References
----------
.. [1] G. E. P. Box, M. E. Muller, "A Note on the Generation of Random Normal Deviates", Annals of Mathematical
   Statistics 29(2), 1958, 610-611.
"""

from __future__ import annotations

import math

from chainsim.dsp.hashed_noise import hashed
from chainsim.kernel import kernel
from chainsim.units import Audio

CHANNEL = 1 << 48
"""How far apart the places of two channels lie: more than any take has frames."""


@kernel
def gaussian_noise(seed: int, n0: int, y: Audio) -> None:
    """Fill y (channels, frames) with white noise of variance 1; frame i is that of absolute sample n0 + i."""
    for c in range(y.shape[0]):
        row, last, even, odd = y[c], -1, 0.0, 0.0
        for i in range(row.shape[0]):
            n = n0 + i
            pair = n // 2
            if pair != last:
                last = pair
                u = 0.5 - 0.5 * hashed(seed, c * CHANNEL + 2 * pair)
                angle = math.pi * hashed(seed, c * CHANNEL + 2 * pair + 1)
                r = math.sqrt(-2.0 * math.log(u))
                even, odd = r * math.cos(angle), r * math.sin(angle)
            row[i] = odd if n % 2 == 1 else even
