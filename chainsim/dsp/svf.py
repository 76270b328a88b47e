"""Trapezoidal (topology-preserving) state variable filter, fit for a cutoff that moves with every sample.

    g = tan(pi fc / fs),  k = 1 / Q,  a1 = 1 / (1 + g (g + k)),  a2 = g a1,  a3 = g a2     (1)
    v1 = a1 s1 + a2 (x - s2),  v2 = s2 + a2 s1 + a3 (x - s2)                               (2)
    s1' = 2 v1 - s1,  s2' = 2 v2 - s2                                                      (3)
    low = v2,  band = v1,  high = x - k v1 - v2,  notch = x - k v1                         (4)

Standing still it is the bilinear transform, prewarped at fc, of the analog second-order filter. Moving, without input,
s1^2 + s2^2 never grows, whatever fc and Q do: the trapezoidal rule makes it lose 4 g k v1^2 a sample.

References
----------
.. [1] V. Zavalishin, The Art of VA Filter Design: trapezoidal integrators, state variable filter.
.. [2] A. Simper, notes on the linear trapezoidal state variable filter: the coefficients a1, a2, a3.
"""

from __future__ import annotations

import math

from chainsim.dsp.envelope import FLUSH
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

RESPONSES = ("low pass", "band pass", "high pass", "notch")
TOP = 0.45
"""Highest cutoff, as a share of the sample rate."""


@kernel
def svf_coefficients(cutoff_hz: Array, q: Array, sample_rate_hz: float, a: Array) -> None:
    """Fill a (3, frames) with a1, a2, a3 of equation (1) for the rows cutoff_hz and q (frames,).

    With w = pi fc / fs, tan w is taken as tan of the double angle, 2 t / (1 - t^2), and t = tan(w / 2) from the seventh
    convergent of Lambert's continued fraction h / (1 - h^2 / (3 - h^2 / (5 - ...))): within 5e-16 of it, relative, up
    to `TOP`. As t = n / d, g = 2 n d / (d^2 - n^2) = u / v, and one division does for everything.
    """
    step = 0.5 * math.pi / sample_rate_hz
    for i in range(cutoff_hz.shape[0]):
        k = 1.0 / q[i]
        h = step * cutoff_hz[i]
        s = h * h
        n = h * (2027025.0 - s * (270270.0 - s * (6930.0 - s * 36.0)))
        d = 2027025.0 - s * (945945.0 - s * (51975.0 - s * (630.0 - s)))
        u = 2.0 * n * d
        v = d * d - n * n
        r = 1.0 / (v * v + u * (u + k * v))
        a[0, i] = v * v * r
        a[1, i] = u * v * r
        a[2, i] = u * u * r


@kernel
def svf_tick(x: float, s1: float, s2: float, a1: float, a2: float, a3: float) -> tuple[float, float, float, float]:
    """One sample of equations (2) and (3): returns v1 (band), v2 (low) and the new s1, s2.

    The new state is worked out first, v = (s + s') / 2 after it: so the next sample waits for as little as possible.
    """
    t1 = (2.0 * a1 - 1.0) * s1 + (2.0 * a2 * x - 2.0 * a2 * s2)
    t2 = s2 + (2.0 * a2 * s1 + (2.0 * a3 * x - 2.0 * a3 * s2))
    if x == 0.0:
        if abs(t1) < FLUSH:
            t1 = 0.0
        if abs(t2) < FLUSH:
            t2 = 0.0
    return 0.5 * (s1 + t1), 0.5 * (s2 + t2), t1, t2


@kernel
def response_weights(response: int, k: float, even: int) -> tuple[float, float, float]:
    """Shares of x, v1 and v2 in the output, equation (4), for an index into `RESPONSES`; the band is k v1, peak 1.

    With `even` (0 or 1), the loudness of a broad sound is kept about even over Q > 1: the power that a
    resonance of gain Q and width 1 / Q lets through grows as Q, that of a band of gain 1 falls as 1 / Q.
    """
    scale = math.sqrt(k) if even == 1 and k < 1.0 else 1.0
    if response == 0:
        return 0.0, 0.0, scale
    if response == 1:
        return 0.0, k / scale, 0.0
    if response == 2:
        return scale, -k * scale, -scale
    return 1.0, -k, 0.0


@kernel
def svf_sweep(x: Audio, a: Array, q: Array, response: int, even: int, z: Array, y: Audio) -> None:
    """Fill y (channels, frames) with x through the filter of coefficients a (3, frames) and quality q (frames,).

    `response` and `even` are those of `response_weights`; z (channels, 2), zero at the start, is the state s1, s2 of
    each channel.
    """
    for c in range(x.shape[0]):
        s1, s2 = z[c, 0], z[c, 1]
        last_q, m0, m1, m2 = math.nan, 0.0, 0.0, 0.0
        for i in range(x.shape[1]):
            if q[i] != last_q:
                last_q = q[i]
                m0, m1, m2 = response_weights(response, 1.0 / last_q, even)
            v1, v2, s1, s2 = svf_tick(x[c, i], s1, s2, a[0, i], a[1, i], a[2, i])
            y[c, i] = m0 * x[c, i] + m1 * v1 + m2 * v2
        z[c, 0], z[c, 1] = s1, s2


def svf_ring_samples(cutoff_hz: float, q: float, sample_rate_hz: float, floor_db: float = -90.0) -> float:
    """Upper bound of the samples in which the filter rings down to `floor_db` of where it began.

    The poles z have |z|^2 = (1 - g k + g^2) / (1 + g k + g^2). The state may overshoot that decay by the condition
    number of the eigenvectors, sqrt((2 + k) / (2 - k)), and, near the double pole of Q = 1/2, by 1 + 2 n at n nepers,
    and by as much again where the input ended on a state that its own output does not show.

    Parameters
    ----------
    cutoff_hz : float, 0 < cutoff_hz <= TOP sample_rate_hz
    q : float >= 0.5
    sample_rate_hz : float
    floor_db : float < 0
    """
    g, k = math.tan(math.pi * cutoff_hz / sample_rate_hz), 1.0 / q
    radius2 = (1.0 - g * k + g * g) / (1.0 + g * k + g * g)
    nepers = -floor_db * math.log(10.0) / 20.0
    overshoot = math.log(1.0 + 4.0 * (nepers + math.log(4.0)))
    if k < 2.0:
        overshoot = min(overshoot, 0.5 * math.log((2.0 + k) / (2.0 - k)))
    nepers += overshoot
    return 2.0 + (nepers / (-0.5 * math.log(radius2)) if radius2 > 0.0 else 0.0)
