"""A control row that holds each value from its moment until the next."""

from __future__ import annotations

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array, Counts


def samples_of(times_s: Array, sample_rate_hz: float) -> Counts:
    """First sample at or after each time, shape as given; a millionth of a sample late is not late."""
    return np.ceil(times_s * sample_rate_hz - 1e-6).astype(np.int64)


@kernel
def held_steps(n0: int, start: Counts, value: Array, first: int, y: Array) -> None:
    """Fill y (1, frames) from n0 on: value[k] from sample start[k] on; `first` is the k that holds at n0."""
    k = first
    for i in range(y.shape[1]):
        while k + 1 < start.shape[0] and n0 + i >= start[k + 1]:
            k += 1
        y[0, i] = value[k]
