"""Moves a region of a spectrum by any number of bins, whole or not.

With time 0 at the frame's time, moving by D bins is multiplying sample i of the frame by exp(2 pi j D i / n). Of
D = d + e, d whole and 0 <= e < 1, d moves bins, and e takes a filter of six taps along the frequency axis,

    Y[k] = sum over t of c[t] Z[k - d + 2 - t],   0 <= t < 6                                                      (1)

whose taps make the sum over i of w[i]^2 |H[i] - exp(2 pi j e i / n)|^2 least, where H[i] is what they do to sample i,
and w[i] what the windows leave of it.

Source: the least-squares design of a fractional delay, T. I. Laakso, V. Valimaki, M. Karjalainen, U. K. Laine,
"Splitting the unit delay", IEEE Signal Processing Magazine 13(1), 1996, 30-60, time and frequency changing places.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array

TAPS = 6
STEPS = 64
"""Fractions for which there are taps; between them they are read along a straight line."""

MARGIN = 4
"""Room below the mirror image of the last bin, for the taps."""


def moving_taps(remains: Array) -> Array:
    """Taps of equation (1).

    Parameters
    ----------
    remains : ndarray, shape (n,)
        w: the product of both windows, from time 0 on; what lies before that stands at the end.

    Returns
    -------
    ndarray, shape (STEPS + 1, TAPS)
        One row for each e = row / STEPS. What a row does to a frame is exact in the mean over w.
    """
    n = remains.size
    turns = 2.0 * np.pi * ((np.arange(n) + n // 2) % n - n // 2) / n
    weights = remains * remains
    apart = np.array([np.sum(weights * np.cos(k * turns)) for k in range(TAPS)])
    among = apart[np.abs(np.subtract.outer(np.arange(TAPS), np.arange(TAPS)))]
    rows = np.empty((STEPS + 1, TAPS))
    for step, e in enumerate(np.arange(STEPS + 1) / STEPS):
        left = np.cos(np.outer(np.arange(TAPS) - 2 - e, turns))
        taps = np.linalg.solve(among, left @ weights)
        rows[step] = taps * np.sum(remains) / np.sum(taps * (left @ remains))
    return rows


def moved_spectrum(n: int) -> Array:
    """Room for a moved spectrum of frames of n samples, with its mirror image: zeros, shape (2, n + 1 + MARGIN).

    The rows are real and imaginary parts; bin k, -n / 2 ... n / 2, lies at MARGIN + n / 2 + k.
    """
    return np.zeros((2, n + 1 + MARGIN))


@kernel
def cosines_and_sines(theta: Array, count: int, rotor: Array) -> None:
    """Fill rotor[:, :count] with cos and sin of theta[:count], which are -pi ... pi, to 3e-9.

    From the series of half the angle, since this is a loop that the compiler makes vectors of.
    """
    for j in range(count):
        h = 0.5 * theta[j]
        x = h * h
        s = 1.0 / 6_227_020_800.0
        for divisor in (-39_916_800.0, 362_880.0, -5_040.0, 120.0, -6.0, 1.0):
            s = s * x + 1.0 / divisor
        s *= h
        c = -1.0 / 87_178_291_200.0
        for divisor in (479_001_600.0, -3_628_800.0, 40_320.0, -720.0, 24.0, -2.0, 1.0):
            c = c * x + 1.0 / divisor
        rotor[0, j], rotor[1, j] = 1.0 - 2.0 * s * s, 2.0 * s * c


@kernel
def halve_ends(re: Array, im: Array) -> None:
    """Halve the first and the last of re, im (bins,): half of what lies there is its own mirror image."""
    last = re.shape[0] - 1
    re[0], im[0], re[last], im[last] = 0.5 * re[0], 0.5 * im[0], 0.5 * re[last], 0.5 * im[last]


@kernel
def move_region(
    re: Array,
    im: Array,
    start: int,
    end: int,
    shift: float,
    c: float,
    s: float,
    taps: Array,
    yr: Array,
    yi: Array,
) -> int:
    """Add the bins start ... end - 1 of re, im (bins,), times c + s j, to yr, yi, `shift` bins away.

    yr, yi are rows of `moved_spectrum`. No shift is further down than the region is up; what would come to lie above
    the last bin is left out. Returns the lowest bin that was added to.
    """
    last = re.shape[0] - 1
    whole = math.floor(shift)
    step = min(int((shift - whole) * STEPS), STEPS - 1)
    b = (shift - whole) * STEPS - step
    a = 1.0 - b
    low, high = taps[step], taps[step + 1]
    c0, c1, c2 = a * low[0] + b * high[0], a * low[1] + b * high[1], a * low[2] + b * high[2]
    c3, c4, c5 = a * low[3] + b * high[3], a * low[4] + b * high[4], a * low[5] + b * high[5]
    z1r = z2r = z3r = z4r = z5r = 0.0
    z1i = z2i = z3i = z4i = z5i = 0.0
    ahead = int(whole) - 2
    beyond = last + 1 - ahead
    for k in range(start, min(end, beyond)):
        z0r, z0i = c * re[k] - s * im[k], c * im[k] + s * re[k]
        j = MARGIN + last + k + ahead
        yr[j] += (c0 * z0r + c5 * z5r) + (c1 * z1r + c4 * z4r) + (c2 * z2r + c3 * z3r)
        yi[j] += (c0 * z0i + c5 * z5i) + (c1 * z1i + c4 * z4i) + (c2 * z2i + c3 * z3i)
        z5r, z4r, z3r, z2r, z1r = z4r, z3r, z2r, z1r, z0r
        z5i, z4i, z3i, z2i, z1i = z4i, z3i, z2i, z1i, z0i
    for k in range(end, min(end + TAPS - 1, beyond)):
        j = MARGIN + last + k + ahead
        yr[j] += c5 * z5r + (c1 * z1r + c4 * z4r) + (c2 * z2r + c3 * z3r)
        yi[j] += c5 * z5i + (c1 * z1i + c4 * z4i) + (c2 * z2i + c3 * z3i)
        z5r, z4r, z3r, z2r, z1r = z4r, z3r, z2r, z1r, 0.0
        z5i, z4i, z3i, z2i, z1i = z4i, z3i, z2i, z1i, 0.0
    return start + ahead


@kernel
def fold_mirror(lowest: int, yr: Array, yi: Array) -> None:
    """Add bins `lowest` ... -1 of yr, yi, rows of `moved_spectrum`, to their mirror images, and undo `halve_ends`."""
    last = (yr.shape[0] - 1 - MARGIN) // 2
    zero = MARGIN + last
    for k in range(1, min(-lowest, last) + 1):
        yr[zero + k] += yr[zero - k]
        yi[zero + k] -= yi[zero - k]
    yr[zero], yr[zero + last] = 2.0 * yr[zero], 2.0 * yr[zero + last]
