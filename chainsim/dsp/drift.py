"""A slow drift, as of players who never agree quite: smooth between seeded values on a grid of seconds.

    y[n] = h_k + (3 t^2 - 2 t^3) (h_{k+1} - h_k),   n = (k + t) g                                                (1)

with h_k evenly distributed between -1 and 1, and held over `HELD` samples, since nothing so slow needs more.
"""

from __future__ import annotations

import math

from chainsim.dsp.hashed_noise import hashed
from chainsim.kernel import kernel
from chainsim.units import Array

HELD = 64

GRID_S = 0.35
"""Time from value to value: about three turns in two seconds."""


@kernel
def drift(seed: int, n0: int, sample_rate_hz: float, y: Array) -> None:
    """Fill y (frames,) with equation (1) for the samples from n0 on."""
    last, found = -1, 0.0
    for i in range(y.shape[0]):
        step = (n0 + i) // HELD
        if step != last:
            last = step
            place = step * HELD / (GRID_S * sample_rate_hz)
            k = math.floor(place)
            t = place - k
            before, after = hashed(seed, k), hashed(seed, k + 1)
            found = before + t * t * (3.0 - 2.0 * t) * (after - before)
        y[i] = found
