"""The harmonics of a tone, period by period: two periods around a mark folded into one, and its transform.

    p[k] = s(theta) x(t_l(theta)) + (1 - s(theta)) x(t_r(theta)),   theta = k / n                                (1)
    t_l = m0 + theta (m1 - m0),   t_r = m1 + theta (m2 - m1),   s(theta) = theta^2 (3 - 2 theta)

for marks m0, m1, m2: the period before m1 fades into the one after it, both stretched to the same n points, so that a
tone whose pitch moves folds as well as a steady one. A tone that repeats is p exactly; its harmonics are the bins.

Source: the two-period windows of E. Moulines, F. Charpentier, "Pitch-synchronous waveform processing techniques",
Speech Communication 9 (1990), 453-467, of which (1) is the sum over all periods.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array

SPARSE = 0.85
"""Points that do for a sample between marks: harmonics up to 20 kHz at 48 kHz, and of high notes a finer table."""

SETTLING_S = 0.01
"""Time to 1 - 1/e in which the shape of the period is known: what is not the same for so long is breath."""

SHAPE_FROM, SHAPE_TO = 0.98, 0.998
"""Correlation with the shape before, below which it counts for nothing, and from which it counts in full."""


@kernel
def between(a: float, b: float, c: float, d: float, f: float) -> float:
    """The cubic through four values one apart, 0 <= f <= 1 after the second."""
    sixth = 1.0 / 6.0
    c3 = sixth * (d - a) + 0.5 * (b - c)
    c2 = 0.5 * (a + c) - b
    c1 = c - 0.5 * b - sixth * (a + a + d)
    return b + f * (c1 + f * (c2 + f * c3))


@kernel
def points_for(last: int, span: float, most: int) -> int:
    """A power of two, 16 to `most`, for `span` samples between marks; the last one while less than 4 times the span."""
    n = last if last < 4.0 * span else 16
    while n < SPARSE * span and n < most:
        n *= 2
    return n


@kernel
def fold_two_periods(line: Array, size: int, m0: float, m1: float, m2: float, n: int, p: Array) -> None:
    """Fill p[:n] with equation (1), its mean taken out.

    Parameters
    ----------
    line : ndarray, shape (2 * size,)
        One channel, written twice: sample t at t mod size and at size + t mod size.
    size : int
        A power of two.
    m0, m1, m2 : float
        Marks, as numbers of samples; what lies up to 2 samples behind m2 must have been written.
    n : int
        Points.
    p : ndarray, shape (at least n,)
    """
    each, turns = 1.0 / n, size * math.floor(m0 / size)
    before, after, mean = (m1 - m0) * each, (m2 - m1) * each, 0.0
    m0, m1 = m0 - turns, m1 - turns
    for k in range(n):
        theta = k * each
        s = theta * theta * (3.0 - 2.0 * theta)
        t = m0 + k * before
        whole = int(t)
        j = np.uint64((whole - 1) & (size - 1))
        left = between(line[j], line[j + np.uint64(1)], line[j + np.uint64(2)], line[j + np.uint64(3)], t - whole)
        t = m1 + k * after
        whole = int(t)
        j = np.uint64((whole - 1) & (size - 1))
        right = between(line[j], line[j + np.uint64(1)], line[j + np.uint64(2)], line[j + np.uint64(3)], t - whole)
        value = right + s * (left - right)
        p[k] = value
        mean += value
    mean /= n
    for k in range(n):
        p[k] -= mean


@kernel
def settle(one: Array, mean: Array, n: int, kept: float) -> None:
    """Let one[:n] be its average with the periods before, at its own level."""
    energy, before, product = 0.0, 0.0, 0.0
    for k in range(n):
        energy += one[k] * one[k]
        before += mean[k] * mean[k]
        product += one[k] * mean[k]
    if product <= 0.0:
        return
    shape = product / math.sqrt(energy * before)
    share = kept * min(max((shape - SHAPE_FROM) / (SHAPE_TO - SHAPE_FROM), 0.0), 1.0)
    level = product / before
    for k in range(n):
        one[k] += share * (level * mean[k] - one[k])
