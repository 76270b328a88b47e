"""Tables of one period that a tone is read from, one fading into the next."""

from __future__ import annotations

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
def read_at(table: Array, t: float) -> float:
    """What lies at point t, 0 to the table's points."""
    whole = np.int32(t)
    j = np.uint64(whole)
    return float(
        between(table[j], table[j + np.uint64(1)], table[j + np.uint64(2)], table[j + np.uint64(3)], t - whole)
    )


@kernel
def faded_at(early: Array, late: Array, t: float, s: float) -> float:
    """What lies at point t of two tables of one size, s of the way from the early one to the late one."""
    whole = np.int32(t)
    j = np.uint64(whole)
    a, b, c, d = early[j], early[j + np.uint64(1)], early[j + np.uint64(2)], early[j + np.uint64(3)]
    a += s * (late[j] - a)
    b += s * (late[j + np.uint64(1)] - b)
    c += s * (late[j + np.uint64(2)] - c)
    d += s * (late[j + np.uint64(3)] - d)
    return float(between(a, b, c, d, t - whole))


@kernel
def smooth_step(way: float) -> float:
    """How much of the late table is heard on the way to it, 0 to 1."""
    return way * way * (3.0 - 2.0 * way)


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
    if m == n:
        for k in range(i, end):
            theta = (lead + k - following) * pace
            theta -= np.floor(theta)
            y[k] -= faded_at(early, late, theta * n, smooth_step((lead + k - last) * share))
    else:
        for k in range(i, end):
            theta = (lead + k - following) * pace
            theta -= np.floor(theta)
            h = read_at(early, theta * n)
            y[k] -= h + smooth_step((lead + k - last) * share) * (read_at(late, theta * m) - h)


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
    if m == n:
        for k in range(i, end):
            psi += ratio[k] * own
            psi -= np.floor(psi)
            y[k] = faded_at(early, late, psi * n, smooth_step((lead + k - last) * share))
    else:
        for k in range(i, end):
            psi += ratio[k] * own
            psi -= np.floor(psi)
            h = read_at(early, psi * n)
            y[k] = h + smooth_step((lead + k - last) * share) * (read_at(late, psi * m) - h)
    return psi
