"""Dropouts: moments in which a transmission fails, drawn by chance, but always at the same times of the clock.

In every second k of absolute time at most one begins, where three numbers drawn by k say so:

    it begins if u1(k) < rate / 60,   at k + u2(k),   and lasts from shortest to longest by u3(k)                (1)

with `rate` in dropouts a minute as it is at that moment; within another one none begins. What comes through falls to
the floor as a cosine over `ramp` samples and comes back so at the end:

    g = floor + (1 - floor) (1 + cos(pi min(t, left, ramp) / ramp)) / 2                                          (2)

t samples after the beginning and `left` before the end; ramp 0 cuts it off hard.
"""

from __future__ import annotations

import math

from chainsim.dsp.hashed_noise import hashed
from chainsim.kernel import kernel
from chainsim.units import Array, Counts


@kernel
def dropouts(
    n0: int,
    seed: int,
    rate: Array,
    floor: Array,
    shortest: float,
    longest: float,
    ramp: float,
    sample_rate_hz: float,
    state: Counts,
    gain: Array,
) -> None:
    """Fill the gain row.

    Parameters
    ----------
    n0, seed : int
    rate, floor : ndarray, shape (frames,)
        Dropouts a minute, and the gain that is left in one.
    shortest, longest, ramp : float
        In samples; longest <= sample_rate_hz.
    sample_rate_hz : float
    state : ndarray of int64, shape (2,)
        Where the newest dropout began, and where it ends; zero at the start.
    gain : ndarray, shape (frames,)
    """
    begun, end = state[0], state[1]
    drawn, chance, begin, length = -1, 0.0, 0, 0
    for i in range(gain.shape[0]):
        n = n0 + i
        second = int(n / sample_rate_hz)
        if second != drawn:
            drawn = second
            chance = 0.5 + 0.5 * hashed(seed, 3 * second)
            begin = int((second + 0.5 + 0.5 * hashed(seed, 3 * second + 1)) * sample_rate_hz)
            length = int(shortest + (longest - shortest) * (0.5 + 0.5 * hashed(seed, 3 * second + 2)))
        if n == begin and n >= end and 60.0 * chance < rate[i]:
            begun, end = n, n + length
        if n >= end:
            gain[i] = 1.0
            continue
        inside = float(min(n - begun + 1, end - n))
        down = 1.0 if inside >= ramp else 0.5 - 0.5 * math.cos(math.pi * inside / ramp)
        gain[i] = 1.0 - (1.0 - floor[i]) * down
    state[0], state[1] = begun, end
