"""Which pitches the newest sound may have: the peaks of its periodicity."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.kernel import kernel
from chainsim.units import Array

MOST = 10
"""How many candidates are kept."""

LEAST_RHO = 0.2
"""Peaks below are noise."""

SLOPE = 48.0
"""Nepers by which a sound that repeats itself wholly is likelier than one that does not at all, per hop."""

OCTAVE = 6.8
"""Nepers by which a pitch an octave higher is likelier, other things being equal, per hop.

A period repeats itself after two as well; so of two that repeat equally well the shorter is the pitch. OCTAVE / SLOPE
= 0.14 is what the longer has to be better by: more than the faint subharmonics that real notes have (a subharmonic 14
dB under the note makes 0.08), less than what a weak odd half of the harmonics makes.
"""

POOR, POORER = 0.4, 1.0
"""What falls short of repeating itself by more than `POOR` is so much less likely again: else a chance peak at a short
lag would do against a period many octaves longer."""

LONGER_CENTS = 3050.0
STRONG = 0.9
"""Where a period that is so much longer repeats itself so well, a shorter one has to hold as long: else it is no more
than the ringing inside the longer one."""

LOWEST_HZ = 20.0
"""Pitches are kept as cents over this frequency."""


@kernel
def unlikeness(strength: float) -> float:
    """Nepers by which a repetition of this strength is less likely than a perfect one."""
    short = 1.0 - strength
    return SLOPE * (short + POORER * max(short - POOR, 0.0))


@kernel
def add_candidates(
    rho: Array,
    steady_rho: Array,
    shortest: int,
    rate_hz: float,
    low_hz: float,
    high_hz: float,
    cents: Array,
    strength: Array,
    steady: Array,
    rank: Array,
    count: int,
) -> int:
    """Add the peaks of rho (lags,) between `low_hz` and `high_hz`; return how many candidates there are now.

    Of more than `MOST` the best ranks stay. `cents` is over `LOWEST_HZ`, `strength` the height of the peak through
    three points, `steady` the same there over the longer window, `rank` OCTAVE log2(f / LOWEST_HZ) - `unlikeness`.
    """
    for j in range(1, rho.shape[0] - 1):
        b = rho[j]
        if b > LEAST_RHO and b > rho[j - 1] and b >= rho[j + 1]:
            a, c = rho[j - 1], rho[j + 1]
            shift = 0.5 * (a - c) / (a - 2.0 * b + c)
            f = rate_hz / (shortest + j + shift)
            if f < low_hz or f > high_hz:
                continue
            height = min(b - 0.25 * (a - c) * shift, 1.0)
            octaves = math.log2(f / LOWEST_HZ)
            r = OCTAVE * octaves - unlikeness(height)
            at = count
            if count == MOST:
                at = 0
                for k in range(1, MOST):
                    if rank[k] < rank[at]:
                        at = k
                if rank[at] >= r:
                    continue
            else:
                count += 1
            cents[at], strength[at], rank[at] = 1200.0 * octaves, height, r
            d, e, f = steady_rho[j - 1], steady_rho[j], steady_rho[j + 1]
            steady[at] = e + 0.5 * shift * ((f - d) + shift * (d - 2.0 * e + f))
    return count


@kernel
def rank_candidates(cents: Array, strength: Array, steady: Array, rank: Array, count: int) -> None:
    """Fill rank with the log likelihoods, once all candidates are known."""
    for i in range(count):
        s = strength[i]
        for j in range(count):
            if cents[j] < cents[i] - LONGER_CENTS and strength[j] > STRONG:
                s = min(s, steady[i])
        rank[i] = OCTAVE * cents[i] / 1200.0 - unlikeness(s)


def candidate_arrays() -> tuple[npt.NDArray[np.float64], ...]:
    """Arrays for `add_candidates`: cents, strength, steady, rank."""
    return np.zeros(MOST), np.zeros(MOST), np.zeros(MOST), np.zeros(MOST)
