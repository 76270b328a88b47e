"""A filter whose power falls as 1 / f over the audible band, at any sample rate, up to the top of the band.

With u = tan(pi f / fs)^2, trapezoidal one-poles of cutoffs u_k have the powers 1 / (1 + u / u_k). A sum of these with
weights that are not negative,

    S(u) = a + sum over k of a_k / (1 + u / u_k),   a, a_k >= 0                                                  (1)

is fitted to 1 / f by least squares [1]_. It has one zero between each two neighbours among the -u_k, and if a > 0 one
beyond them. So S is the power of a cascade of first-order sections, one for each cutoff, found without any search among
the roots of polynomials:

    H(s) = sqrt(S(0)) product of (1 + s / sqrt(z_k)) / (1 + s / sqrt(u_k)),   s = (z - 1) / (z + 1)              (2)

References
----------
.. [1] C. L. Lawson, R. J. Hanson, Solving Least Squares Problems, SIAM 1995, chapter 23 (weights not negative).
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq, lsq_linear

from chainsim.units import Array

LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0
"""Between these, and up to `TOP`, the power falls as 1 / f within 0.1 dB; below it soon stays what it is."""

FLAT_HZ, PER_OCTAVE = 10.0, 1.0
"""The lowest cutoff, and how many there are to an octave."""

TOP = 0.47
"""Share of the rate up to which cutoffs lie, and up to which the power is fitted where that is less than 20 kHz."""

LEAST = 1e-4
"""What adds less than this share of the power anywhere is left out."""


def pink_sections(sample_rate_hz: float) -> list[tuple[Array, Array]]:
    """Second-order sections, each b and a of shape (3,), whose power in all is 1 Hz / f."""
    cutoff_hz = np.geomspace(FLAT_HZ, TOP * sample_rate_hz, math.ceil(PER_OCTAVE * math.log2(sample_rate_hz / FLAT_HZ)))
    freq_hz = np.geomspace(LOWEST_HZ, min(HIGHEST_HZ, TOP * sample_rate_hz), 400)
    cutoff, at = (np.tan(math.pi * f / sample_rate_hz) ** 2 for f in (cutoff_hz, freq_hz))
    # Each power times f is about 1 at its cutoff, and 1 is what they are to add up to.
    each = np.append(cutoff_hz, cutoff_hz[-1])
    powers = np.column_stack([1.0 / (1.0 + np.divide.outer(at, cutoff)), np.ones(at.size)]) * freq_hz[:, None] / each
    shares = lsq_linear(powers, np.ones(at.size), (0.0, np.inf), method="bvls").x
    shares[shares < LEAST] = 0.0
    weights, rest = (shares / each)[:-1], float(shares[-1] / each[-1])
    poles, weights = cutoff[weights > 0.0], weights[weights > 0.0]
    zeros = _zeros(poles, weights, rest)
    found = [_section(z, p) for z, p in zip(zeros, poles, strict=True)]
    found[0] = (math.sqrt(float(np.sum(weights)) + rest) * found[0][0], found[0][1])
    return [_both(found[k : k + 2]) for k in range(0, len(found), 2)]


def _zeros(poles: Array, weights: Array, rest: float) -> list[float]:
    """Where S(-v) = 0, one above each pole; infinite where there is none above the last."""

    def power(log_v: float) -> float:
        return rest + float(np.sum(weights / (1.0 - math.exp(log_v) / poles)))

    logs = [*np.log(poles), math.log(poles[-1]) + 60.0]
    spans = [(low + 1e-9, high - 1e-9) for low, high in pairwise(logs)]
    found = [math.exp(brentq(power, *span, xtol=1e-12)) for span in spans[:-1]]
    return [*found, math.exp(brentq(power, *spans[-1], xtol=1e-12)) if rest > 0.0 else math.inf]


def _section(zero: float, pole: float) -> tuple[Array, Array]:
    """The factor of equation (2) for one zero and one pole."""
    z, p = 1.0 / math.sqrt(zero), 1.0 / math.sqrt(pole)
    return np.array([1.0 + z, 1.0 - z]) / (1.0 + p), np.array([1.0, (1.0 - p) / (1.0 + p)])


def _both(parts: list[tuple[Array, Array]]) -> tuple[Array, Array]:
    """One or two first-order sections as one of second order."""
    b, a = np.array([1.0, 0.0, 0.0]), np.array([1.0, 0.0, 0.0])
    for part_b, part_a in parts:
        b, a = np.convolve(b[:2], part_b), np.convolve(a[:2], part_a)
    return b, a
