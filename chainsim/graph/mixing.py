"""Kernels that sum what the edges of a port bring."""

from __future__ import annotations

from chainsim.kernel import kernel
from chainsim.units import Audio


@kernel
def set_scaled(x: Audio, g: float, y: Audio) -> None:
    """Set y = g x; a mono x feeds every channel of y."""
    for c in range(y.shape[0]):
        k = min(c, x.shape[0] - 1)
        for i in range(y.shape[1]):
            y[c, i] = g * x[k, i]


@kernel
def add_scaled(x: Audio, g: float, y: Audio) -> None:
    """Add g x to y."""
    for c in range(y.shape[0]):
        k = min(c, x.shape[0] - 1)
        for i in range(y.shape[1]):
            y[c, i] += g * x[k, i]


@kernel
def add_ramped(x: Audio, g: float, n0: int, start: int, end: int, before: float, after: float, y: Audio) -> None:
    """Add g r[n] x to y, r the straight line from (start, before) to (end, after) at absolute samples n0 + i."""
    for c in range(y.shape[0]):
        k = min(c, x.shape[0] - 1)
        for i in range(y.shape[1]):
            r = before + (after - before) * ((n0 + i - start) / (end - start))
            y[c, i] += (g * r) * x[k, i]
