"""Fourier transforms of real frames, for kernels that do a frame inside their loop over samples.

    X[k] = sum over i of x[i] exp(-2 pi j i k / n),   0 <= k <= n / 2                                            (1)

n is a power of two, 16 ... 16384. The even samples are the real part and the odd ones the imaginary part of a complex
frame of half the size; its transform Z is taken apart by

    2 X[k] = Z[k] + Z*[n/2 - k] - j exp(-2 pi j k / n) (Z[k] - Z*[n/2 - k])                                      (2)

The complex transform is an autosort of radix 4, after one pass of radix 2 where the size is no power of 4, over
separate arrays of real and imaginary parts. Nothing is allocated; arrays may be longer than n asks for.

References
----------
.. [1] C. Van Loan, Computational Frameworks for the Fast Fourier Transform, SIAM 1992, sections 1.7, 2.4 and 4.3.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array

SMALLEST, GREATEST = 16, 16384
"""Sizes of frames."""


def twiddles(n_max: int) -> Array:
    """Rotations for every size up to `n_max`.

    Parameters
    ----------
    n_max : int
        The greatest size, a power of two from 16 to 16384.

    Returns
    -------
    ndarray, shape (4, n_max)
        At n / 2 + k, for every size n and k < n / 2: cos and sin of 2 pi k / n, then of 6 pi k / n.

    Raises
    ------
    ValueError
        If `n_max` is not such a size.
    """
    if not SMALLEST <= n_max <= GREATEST or n_max & (n_max - 1):
        raise ValueError(f"n_max = {n_max}, allowed a power of two from {SMALLEST} to {GREATEST}")
    table = np.zeros((4, n_max))
    n = 2
    while n <= n_max:
        for row, turns in ((0, 1), (2, 3)):
            angle = 2.0 * math.pi * turns * np.arange(n // 2) / n
            table[row, n // 2 : n], table[row + 1, n // 2 : n] = np.cos(angle), np.sin(angle)
        n *= 2
    return table


def fft_work(n_max: int) -> Array:
    """What the transforms work in: zeros, shape (4, n_max / 2)."""
    return np.zeros((4, n_max // 2))


@kernel
def _radix_2(xr: Array, xi: Array, half: int, stride: int, c: Array, s: Array, yr: Array, yi: Array) -> None:
    """Pass over `half` pairs of `stride` neighbours; c and s are of the size 2 half."""
    for p in range(half):
        cw, sw = c[half + p], s[half + p]
        for q in range(stride):
            i, o = p * stride + q, 2 * p * stride + q
            ar, ai = xr[i], xi[i]
            br, bi = xr[i + half * stride], xi[i + half * stride]
            yr[o], yi[o] = ar + br, ai + bi
            dr, di = ar - br, ai - bi
            yr[o + stride], yi[o + stride] = cw * dr + sw * di, cw * di - sw * dr


@kernel
def _radix_4(xr: Array, xi: Array, quarter: int, stride: int, tw: Array, yr: Array, yi: Array) -> None:
    """Pass over `quarter` groups of four times `stride` neighbours."""
    n = 4 * quarter
    leap = quarter * stride
    for p in range(quarter):
        c1, s1 = tw[0, n // 2 + p], tw[1, n // 2 + p]
        c2, s2 = tw[0, n // 4 + p], tw[1, n // 4 + p]
        c3, s3 = tw[2, n // 2 + p], tw[3, n // 2 + p]
        for q in range(stride):
            i, o = p * stride + q, 4 * p * stride + q
            ar, ai = xr[i], xi[i]
            br, bi = xr[i + leap], xi[i + leap]
            cr, ci = xr[i + 2 * leap], xi[i + 2 * leap]
            dr, di = xr[i + 3 * leap], xi[i + 3 * leap]
            er, ei, fr, fi = ar + cr, ai + ci, ar - cr, ai - ci
            gr, gi, hr, hi = br + dr, bi + di, bi - di, dr - br
            yr[o], yi[o] = er + gr, ei + gi
            ur, ui = fr + hr, fi + hi
            yr[o + stride], yi[o + stride] = c1 * ur + s1 * ui, c1 * ui - s1 * ur
            ur, ui = er - gr, ei - gi
            yr[o + 2 * stride], yi[o + 2 * stride] = c2 * ur + s2 * ui, c2 * ui - s2 * ur
            ur, ui = fr - hr, fi - hi
            yr[o + 3 * stride], yi[o + 3 * stride] = c3 * ur + s3 * ui, c3 * ui - s3 * ur


@kernel
def _transform(m: int, first: int, tw: Array, work: Array) -> int:
    """Transform the m complex numbers in the rows `first` and `first` + 1 of `work`; return where the result is."""
    n, stride = m, 1
    at = first
    while n > 1:
        to = 2 - at
        if n == 2 or (n == m and (m & 0x5555) == 0):
            _radix_2(work[at], work[at + 1], n // 2, stride, tw[0], tw[1], work[to], work[to + 1])
            n, stride = n // 2, stride * 2
        else:
            _radix_4(work[at], work[at + 1], n // 4, stride, tw, work[to], work[to + 1])
            n, stride = n // 4, stride * 4
        at = to
    return at


@kernel
def real_fft(x: Array, n: int, tw: Array, work: Array, re: Array, im: Array) -> None:
    """Fill re, im (n / 2 + 1,) with the transform (1) of x (n,).

    `tw` is of `twiddles`, `work` of `fft_work`, both for n or more.
    """
    m = n // 2
    for i in range(m):
        work[0, i], work[1, i] = x[2 * i], x[2 * i + 1]
    at = _transform(m, 0, tw, work)
    zr, zi = work[at], work[at + 1]
    re[0], im[0] = zr[0] + zi[0], 0.0
    re[m], im[m] = zr[0] - zi[0], 0.0
    for k in range(1, m // 2 + 1):
        c, s = tw[0, m + k], tw[1, m + k]
        er, ei = 0.5 * (zr[k] + zr[m - k]), 0.5 * (zi[k] - zi[m - k])
        dr, di = 0.5 * (zr[k] - zr[m - k]), 0.5 * (zi[k] + zi[m - k])
        tr, ti = c * di - s * dr, -c * dr - s * di
        re[k], im[k] = er + tr, ei + ti
        re[m - k], im[m - k] = er - tr, ti - ei


@kernel
def inverse_real_fft(re: Array, im: Array, n: int, tw: Array, work: Array, y: Array) -> None:
    """Fill y (n,) with n / 2 times the sound whose transform (1) is re, im (n / 2 + 1,).

    The imaginary parts at 0 and n / 2 count as 0. `tw` is of `twiddles`, `work` of `fft_work`, both for n or more.
    """
    m = n // 2
    # Swapped parts make the inverse of the forward transform.
    work[1, 0], work[0, 0] = 0.5 * (re[0] + re[m]), 0.5 * (re[0] - re[m])
    for k in range(1, m // 2 + 1):
        c, s = tw[0, m + k], tw[1, m + k]
        er, ei = 0.5 * (re[k] + re[m - k]), 0.5 * (im[k] - im[m - k])
        tr, ti = 0.5 * (re[k] - re[m - k]), 0.5 * (im[k] + im[m - k])
        dr, di = -c * ti - s * tr, c * tr - s * ti
        work[1, k], work[0, k] = er + dr, ei + di
        work[1, m - k], work[0, m - k] = er - dr, di - ei
    at = _transform(m, 0, tw, work)
    for i in range(m):
        y[2 * i], y[2 * i + 1] = work[at + 1, i], work[at, i]
