"""Tables of one period that a tone is read from, one fading into the next."""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.period_harmonics import between
from chainsim.kernel import kernel
from chainsim.units import Array

GUARD = 4
"""Points of a table kept a second time behind its end."""


@kernel
def keep_table(p: Array, n: int, gain: float, table: Array) -> None:
    """Put gain p[:n] into a table: the last point goes before the first, and three of the first behind the last."""
    table[0] = gain * p[n - 1]
    for k in range(n):
        table[k + 1] = gain * p[k]
    for k in range(3):
        table[n + 1 + k] = gain * p[k]


@kernel
def silence(table: Array, n: int) -> None:
    """Empty a table of n points."""
    for k in range(n + GUARD):
        table[k] = 0.0


@kernel
def faded(early: Array, n: int, late: Array, m: int, turn: float, way: float) -> float:
    """What lies at `turn` of a period: in the early table (n points), `way` of the way to the late one (m points)."""
    s = way * way * (3.0 - 2.0 * way)
    t = turn * n
    j = np.uint64(min(int(t), n - 1))
    f = t - float(j)
    h = between(early[j], early[j + np.uint64(1)], early[j + np.uint64(2)], early[j + np.uint64(3)], f)
    if m != n:
        t = turn * m
        j = np.uint64(min(int(t), m - 1))
        f = t - float(j)
    g = between(late[j], late[j + np.uint64(1)], late[j + np.uint64(2)], late[j + np.uint64(3)], f)
    return float(h + s * (g - h))


@kernel
def take_away(
    early: Array,
    n: int,
    late: Array,
    m: int,
    lead: int,
    last: float,
    share: float,
    following: float,
    pace: float,
    i: int,
    end: int,
    y: Array,
) -> None:
    """Subtract equation (1) of `chainsim.dsp.harmonic_shifter` from y[i:end].

    At k, (lead + k - last) share is w and (lead + k - following) pace is theta, but for whole turns.
    """
    for k in range(i, end):
        way = (lead + k - last) * share
        theta = (lead + k - following) * pace
        theta -= math.floor(theta)
        y[k] -= faded(early, n, late, m, theta, way)


@kernel
def read_voice(
    early: Array,
    n: int,
    late: Array,
    m: int,
    lead: int,
    last: float,
    share: float,
    ratio: Array,
    own: float,
    psi: float,
    i: int,
    end: int,
    y: Array,
) -> float:
    """Fill y[i:end] with equation (2) of `chainsim.dsp.harmonic_shifter`, psi moving by ratio[k] own; return psi."""
    for k in range(i, end):
        way = (lead + k - last) * share
        psi += ratio[k] * own
        if psi >= 1.0:
            psi -= math.floor(psi)
        y[k] = faded(early, n, late, m, psi, way)
    return psi
