"""A bound on what a sound reaches between its samples, frame by frame, for a limiter.

The sound is interpolated to four times its rate (`chainsim.dsp.peak_interpolation`); through each point b that no
neighbour a, c tops, a parabola says how high the crest is:

    b + (c - a)^2 / (8 (2 b - a - c))                                                          (1)

within 0.05 dB of a sine of 0.45 of the sample rate, of which the four points a sample alone miss 0.55 dB. What lies
higher still, no filter of this length can interpolate: white noise up to half the sample rate peaks up to 1 dB higher
than it finds. So that is measured by itself, with a narrow filter around half the rate,

    v[n] = sum_k (-1)^k sinc(2 B k) kaiser(k) x[n - k],  scaled to A at half the rate                (2)

and the running peak of |v| is added to (1). Up to 0.42 of the rate (18.5 kHz at 44.1 kHz) it is 60 dB down or more.
A peak of that kind is made of samples far to either side, on which a gain that moves quickly lies differently: no exact
interpolation would see it come, and 1 dB would get over the ceiling. So A and the hold leave room for that: of signs
and spikes drawn to add up between the samples, 1700 times 3000 samples, none got over a limiter's ceiling, not with its
shortest times; noise up to 20 kHz and music get up to it, and over it by 0.02 dB at the most. The price: noise of the
whole band ends 0.6 to 1.8 dB below it, a sine of 0.45 of the rate 3.4 dB, one close to half of it 11 dB.

Source: ITU-R BS.1770-5 (11/2023), Annex 2, on interpolated peaks and what they miss; (1) is the usual interpolation
of a spectrum's peak, as in J. O. Smith III, Spectral Audio Signal Processing, "Quadratic Interpolation of Spectral
Peaks".
"""

from __future__ import annotations

import numpy as np

from chainsim.dsp.envelope import running_peak
from chainsim.dsp.peak_interpolation import KAISER_BETA, SPAN, interpolator
from chainsim.kernel import kernel
from chainsim.units import Array, Audio, Counts

FACTOR = 4
BEHIND = SPAN // 2
"""Frame i of the bound is about the samples i - BEHIND - 1 to i - BEHIND + 1 and of all between them."""

_EDGE_WIDTH = 0.03
"""B of equation (2), as a share of the sample rate."""
_EDGE_WEIGHT = 2.5
"""A of equation (2)."""
EDGE_HOLD = 64
"""Samples for which the running peak of v holds: what lies so close may be part of a crest."""
_BLOCK = 64


def bound_taps() -> Array:
    """Rows for `true_peak_bound`: three of the interpolator and that of equation (2); shape (FACTOR, SPAN)."""
    k = np.arange(-BEHIND + 1, BEHIND)
    edge = (-1.0) ** k * np.sinc(2.0 * _EDGE_WIDTH * k) * np.kaiser(k.size, KAISER_BETA)
    row = np.append(_EDGE_WEIGHT * edge / np.sum(np.abs(edge)), 0.0)
    return np.ascontiguousarray(np.vstack([interpolator(FACTOR), row]))


def bound_state(channels: int) -> tuple[Array, Counts, Array]:
    """State z, counts and scratch of `true_peak_bound`."""
    return np.zeros((channels, 4)), np.zeros((channels, 2), np.int64), np.empty((FACTOR, _BLOCK))


@kernel
def crest(a: float, b: float, c: float) -> float:
    """Equation (1), or |b| where b is no crest: the largest absolute value around the middle one of three points."""
    if b < 0.0:
        a, b, c = -a, -b, -c
    bend = 2.0 * b - a - c
    if b >= a and b >= c and bend > 0.0:
        return b + (c - a) * (c - a) / (8.0 * bend)
    return b


@kernel
def true_peak_bound(
    x: Audio, ahead: int, taps: Array, hold: int, z: Array, counts: Counts, scratch: Array, bound: Array
) -> None:
    """Fill `bound` (frames,), the channel that reaches highest counting.

    Parameters
    ----------
    x : ndarray, shape (channels, ahead + frames)
        Sound; bound[i] is made of x[:, ahead + i] and the SPAN - 1 samples before it.
    ahead : int >= SPAN - 1
    taps : ndarray, shape (FACTOR, SPAN)
        Of `bound_taps`.
    hold : int
        `EDGE_HOLD`.
    z, counts, scratch : ndarray
        Of `bound_state`. z is the last two points and the running peak, counts what is left of that.
    bound : ndarray, shape (frames,)
    """
    frames, span = bound.shape[0], taps.shape[1]
    for c in range(x.shape[0]):
        a, b, peak, second = z[c, 0], z[c, 1], z[c, 2], z[c, 3]
        left, second_left = counts[c, 0], counts[c, 1]
        for first in range(0, frames, _BLOCK):
            n = min(_BLOCK, frames - first)
            start = ahead + first - span + 1
            for p in range(FACTOR):
                row = scratch[p]
                for i in range(n):
                    row[i] = 0.0
                for k in range(0, span, 4):
                    g0, g1, g2, g3 = taps[p, k], taps[p, k + 1], taps[p, k + 2], taps[p, k + 3]
                    at = start + k
                    x0, x1, x2, x3 = (
                        x[c, at : at + n],
                        x[c, at + 1 : at + 1 + n],
                        x[c, at + 2 : at + 2 + n],
                        x[c, at + 3 : at + 3 + n],
                    )
                    for i in range(n):
                        row[i] += g0 * x0[i] + g1 * x1[i] + g2 * x2[i] + g3 * x3[i]
            for i in range(n):
                sample = x[c, start + i + span - 1 - BEHIND]
                u1, u2, u3 = scratch[0, i], scratch[1, i], scratch[2, i]
                found = max(
                    max(crest(a, b, sample), crest(b, sample, u1)), max(crest(sample, u1, u2), crest(u1, u2, u3))
                )
                a, b = u2, u3
                peak, left, second, second_left = running_peak(
                    abs(scratch[3, i]), peak, left, second, second_left, hold
                )
                found += peak
                bound[first + i] = found if c == 0 else max(bound[first + i], found)
        z[c, 0], z[c, 1], z[c, 2], z[c, 3] = a, b, peak, second
        counts[c, 0], counts[c, 1] = left, second_left
