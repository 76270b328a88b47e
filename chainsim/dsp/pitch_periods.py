"""How well the newest sound repeats itself at each lag, over a window that grows with the lag.

For a lag of l samples and a window of W(l),

    rho[l] = 2 sum x[n-i] x[n-i-l] / sum (x[n-i]^2 + x[n-i-l]^2),   0 <= i < W(l)                               (1)

is 1 where the sound repeats exactly after l samples and about 0 for noise. W is about the lag itself, so that a note is
known after two of its periods, be it high or low. Products are summed once per hop and lag and kept, so that a window
costs a few additions whatever its length.

Source: equation (1) is the normalised square difference n' of P. McLeod and G. Wyvill, "A smarter way to find pitch",
ICMC 2005; a window for each lag is ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.kernel import kernel
from chainsim.units import Array

FLOOR_POWER = 1e-9
"""Power (-90 dB) under which sound counts as silence: it keeps rho small there."""

WINDOW_PER_LAG = 0.85
"""Window relative to the lag: with the lag itself not quite two periods, then rounded up to whole hops."""


STEADY_S = 0.016
"""The window over which a short period has to hold where a much longer one does."""


@dataclass
class Band:
    """The lags of one range of pitches, at one rate, and the state that the kernels keep.

    Parameters
    ----------
    rate_hz : float
        Of the samples pushed.
    low_hz, high_hz : float
        Pitches to look for, none if the first is not lower; a lag more is kept at either end, for interpolation.
    hop : int, a multiple of 4
        Samples pushed at a time.
    least_window_s : float
    """

    rate_hz: float
    low_hz: float
    high_hz: float
    hop: int
    least_window_s: float

    def __post_init__(self) -> None:
        self.shortest = max(2, int(self.rate_hz / self.high_hz) - 1)
        longest = int(np.ceil(self.rate_hz / self.low_hz)) + 1 if self.low_hz < self.high_hz else self.shortest - 1
        lags = np.arange(self.shortest, longest + 1)
        seconds = np.maximum(self.least_window_s, WINDOW_PER_LAG * lags / self.rate_hz)
        blocks = np.ceil(seconds * self.rate_hz / self.hop - 0.01).astype(np.int64)
        starts = np.flatnonzero(np.diff(blocks, prepend=-1))
        ends = np.append(starts, len(lags))[1:]
        self.groups: npt.NDArray[np.int64] = np.column_stack([starts, ends, blocks[starts]])
        steady = max(1, round(STEADY_S * self.rate_hz / self.hop))
        self.steady_groups = np.array([[0, len(lags), steady]], np.int64)
        most = max(steady, int(np.max(blocks, initial=1)))
        self.kept = longest + (most + 1) * self.hop + 2
        self.newest_first = np.zeros(self.kept + 64 * self.hop)
        self.energy = np.zeros(self.kept + 64 * self.hop)
        self.products = np.zeros((most, len(lags)))
        self.rho = np.zeros(len(lags))
        self.steady_rho = np.zeros(len(lags))
        self.at = np.zeros(2, np.int64)
        self.reset()

    def reset(self) -> None:
        """Forget what was heard."""
        for state in (self.newest_first, self.energy, self.products, self.rho, self.steady_rho):
            state.fill(0.0)
        self.at[:] = len(self.energy) - self.kept, 0

    def arrays(self) -> tuple[Any, ...]:
        """What the kernels take."""
        return (
            self.shortest,
            self.kept,
            self.groups,
            self.newest_first,
            self.energy,
            self.products,
            self.at,
            self.rho,
            self.steady_groups,
            self.steady_rho,
        )


@kernel
def push(x: Array, step: int, kept: int, newest_first: Array, energy: Array, at: npt.NDArray[np.int64]) -> None:
    """Take in every `step`-th sample of x (hop * step,), the newest included.

    `newest_first` holds them from at[0] on, newest first, and `energy` the running sum of their squares.
    """
    hop = x.shape[0] // step
    p, size = at[0], newest_first.shape[0]
    if p < hop:
        base = energy[p + kept - 1]
        for i in range(kept - 1, -1, -1):
            newest_first[size - kept + i] = newest_first[p + i]
            energy[size - kept + i] = energy[p + i] - base
        p = size - kept
    for i in range(hop):
        v = x[(i + 1) * step - 1]
        p -= 1
        newest_first[p] = v
        energy[p] = energy[p + 1] + v * v
    at[0] = p


@kernel
def add_products(
    hop: int, shortest: int, newest_first: Array, products: Array, at: npt.NDArray[np.int64], lags: int
) -> None:
    """After a `push` of `hop` samples, sum their products with what came each lag earlier into the next row."""
    p = at[0]
    at[1] = at[1] + 1 if at[1] + 1 < products.shape[0] else 0
    block = products[at[1]]
    block[:] = 0.0
    for i in range(p, p + hop, 4):
        x0, x1, x2, x3 = newest_first[i], newest_first[i + 1], newest_first[i + 2], newest_first[i + 3]
        older = newest_first[i + shortest : i + shortest + lags + 3]
        for j in range(lags):
            block[j] += (x0 * older[j] + x1 * older[j + 1]) + (x2 * older[j + 2] + x3 * older[j + 3])


@kernel
def periodicity(
    hop: int,
    shortest: int,
    groups: npt.NDArray[np.int64],
    energy: Array,
    products: Array,
    at: npt.NDArray[np.int64],
    rho: Array,
) -> None:
    """Fill rho (lags,) by equation (1), over windows of so many hops as `groups` (start, end, hops) says."""
    p, head, rings = at[0], at[1], products.shape[0]
    for g in range(groups.shape[0]):
        start, end, blocks = groups[g, 0], groups[g, 1], groups[g, 2]
        window = blocks * hop
        r = rho[start:end]
        r[:] = 0.0
        for k in range(blocks):
            row = products[head - k if head >= k else head - k + rings, start:end]
            for j in range(r.shape[0]):
                r[j] += row[j]
        own = energy[p] - energy[p + window] + 2.0 * FLOOR_POWER * window
        late = energy[p + shortest + start : p + shortest + end]
        early = energy[p + shortest + start + window : p + shortest + end + window]
        for j in range(r.shape[0]):
            r[j] = 2.0 * r[j] / (own + (late[j] - early[j]))
