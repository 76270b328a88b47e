"""Fourier transforms of real frames, for kernels that do a frame inside their loop over samples.

    X[k] = sum over i of x[i] exp(-2 pi j i k / n),   0 <= k <= n / 2                                            (1)

n is a power of two, 16 ... 16384. The even samples are the real part and the odd ones the imaginary part of a complex
frame of half the size; its transform Z is taken apart by

    2 X[k] = Z[k] + Z*[n/2 - k] - j exp(-2 pi j k / n) (Z[k] - Z*[n/2 - k])                                      (2)

The complex transform is Stockham's autosort [1]_ of radix 4, with one pass of radix 2 at the end where the size is no
power of 4. Real and imaginary parts lie apart, so that the compiler makes vectors of the inner loops. Nothing is
allocated; arrays may be longer than n asks for.

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
def _butterfly(
    ar: float,
    ai: float,
    br: float,
    bi: float,
    cr: float,
    ci: float,
    dr: float,
    di: float,
    c1: float,
    s1: float,
    c2: float,
    s2: float,
    c3: float,
    s3: float,
) -> tuple[float, float, float, float, float, float, float, float]:
    """Transform of the four numbers a, b, c, d; the last three turned back by the angles 1, 2, 3."""
    er, ei, fr, fi = ar + cr, ai + ci, ar - cr, ai - ci
    gr, gi, hr, hi = br + dr, bi + di, bi - di, dr - br
    ur, ui, vr, vi, wr, wi = fr + hr, fi + hi, er - gr, ei - gi, fr - hr, fi - hi
    return (
        er + gr,
        ei + gi,
        c1 * ur + s1 * ui,
        c1 * ui - s1 * ur,
        c2 * vr + s2 * vi,
        c2 * vi - s2 * vr,
        c3 * wr + s3 * wi,
        c3 * wi - s3 * wr,
    )


@kernel
def _first_pass(xr: Array, xi: Array, tw: Array, yr: Array, yi: Array) -> None:
    """Radix-4 pass over single numbers: a vector runs over the rotations."""
    n = xr.shape[0] // 4
    ar, br, cr, dr = xr[:n], xr[n : 2 * n], xr[2 * n : 3 * n], xr[3 * n :]
    ai, bi, ci, di = xi[:n], xi[n : 2 * n], xi[2 * n : 3 * n], xi[3 * n :]
    c1, s1, c2, s2 = tw[0, 2 * n : 3 * n], tw[1, 2 * n : 3 * n], tw[0, n : 2 * n], tw[1, n : 2 * n]
    c3, s3 = tw[2, 2 * n : 3 * n], tw[3, 2 * n : 3 * n]
    for p in range(n):
        tr, ti, ur, ui, vr, vi, wr, wi = _butterfly(
            ar[p], ai[p], br[p], bi[p], cr[p], ci[p], dr[p], di[p], c1[p], s1[p], c2[p], s2[p], c3[p], s3[p]
        )
        yr[4 * p], yr[4 * p + 1], yr[4 * p + 2], yr[4 * p + 3] = tr, ur, vr, wr
        yi[4 * p], yi[4 * p + 1], yi[4 * p + 2], yi[4 * p + 3] = ti, ui, vi, wi


@kernel
def _pass_of_four(xr: Array, xi: Array, tw: Array, yr: Array, yi: Array) -> None:
    """Radix-4 pass over runs of four numbers: too short for vectors."""
    leap = xr.shape[0] // 4
    n = leap // 4
    for p in range(n):
        c1, s1, c2, s2 = tw[0, 2 * n + p], tw[1, 2 * n + p], tw[0, n + p], tw[1, n + p]
        c3, s3 = tw[2, 2 * n + p], tw[3, 2 * n + p]
        for q in range(4):
            i, o = 4 * p + q, 16 * p + q
            ar, ai, br, bi = xr[i], xi[i], xr[i + leap], xi[i + leap]
            cr, ci, dr, di = xr[i + 2 * leap], xi[i + 2 * leap], xr[i + 3 * leap], xi[i + 3 * leap]
            tr, ti, ur, ui, vr, vi, wr, wi = _butterfly(ar, ai, br, bi, cr, ci, dr, di, c1, s1, c2, s2, c3, s3)
            yr[o], yr[o + 4], yr[o + 8], yr[o + 12] = tr, ur, vr, wr
            yi[o], yi[o + 4], yi[o + 8], yi[o + 12] = ti, ui, vi, wi


@kernel
def _long_pass(xr: Array, xi: Array, stride: int, tw: Array, yr: Array, yi: Array) -> None:
    """Radix-4 pass over runs of `stride` numbers: a vector runs along each."""
    leap = xr.shape[0] // 4
    n = leap // stride
    for p in range(n):
        c1, s1, c2, s2 = tw[0, 2 * n + p], tw[1, 2 * n + p], tw[0, n + p], tw[1, n + p]
        c3, s3 = tw[2, 2 * n + p], tw[3, 2 * n + p]
        i, o = p * stride, 4 * p * stride
        ar, ai = xr[i : i + stride], xi[i : i + stride]
        i += leap
        br, bi = xr[i : i + stride], xi[i : i + stride]
        i += leap
        cr, ci = xr[i : i + stride], xi[i : i + stride]
        i += leap
        dr, di = xr[i : i + stride], xi[i : i + stride]
        y0r, y0i = yr[o : o + stride], yi[o : o + stride]
        o += stride
        y1r, y1i = yr[o : o + stride], yi[o : o + stride]
        o += stride
        y2r, y2i = yr[o : o + stride], yi[o : o + stride]
        o += stride
        y3r, y3i = yr[o : o + stride], yi[o : o + stride]
        for q in range(stride):
            tr, ti, ur, ui, vr, vi, wr, wi = _butterfly(
                ar[q], ai[q], br[q], bi[q], cr[q], ci[q], dr[q], di[q], c1, s1, c2, s2, c3, s3
            )
            y0r[q], y1r[q], y2r[q], y3r[q] = tr, ur, vr, wr
            y0i[q], y1i[q], y2i[q], y3i[q] = ti, ui, vi, wi


@kernel
def _last_pass(xr: Array, xi: Array, yr: Array, yi: Array) -> None:
    """Radix-2 pass over the two halves: no rotation is left."""
    half = xr.shape[0] // 2
    ar, br, ai, bi = xr[:half], xr[half:], xi[:half], xi[half:]
    y0r, y1r, y0i, y1i = yr[:half], yr[half:], yi[:half], yi[half:]
    for q in range(half):
        y0r[q], y0i[q] = ar[q] + br[q], ai[q] + bi[q]
        y1r[q], y1i[q] = ar[q] - br[q], ai[q] - bi[q]


@kernel
def _transform(m: int, tw: Array, work: Array) -> int:
    """Transform the m complex numbers in the first two rows of `work`; return in which row the result begins."""
    _first_pass(work[0, :m], work[1, :m], tw, work[2, :m], work[3, :m])
    at, stride = np.int64(2), np.int64(4)
    while stride < m:
        xr, xi, yr, yi = work[at, :m], work[at + 1, :m], work[2 - at, :m], work[3 - at, :m]
        if 2 * stride == m:
            _last_pass(xr, xi, yr, yi)
        elif stride == 4:
            _pass_of_four(xr, xi, tw, yr, yi)
        else:
            _long_pass(xr, xi, stride, tw, yr, yi)
        stride *= 4
        at = 2 - at
    return int(at)


@kernel
def real_fft(x: Array, n: int, tw: Array, work: Array, re: Array, im: Array) -> None:
    """Fill re, im (n / 2 + 1,) with the transform (1) of x (n,).

    `tw` is of `twiddles`, `work` of `fft_work`, both for n or more.
    """
    m = n // 2
    zr, zi = work[0, :m], work[1, :m]
    for i in range(m):
        zr[i], zi[i] = x[2 * i], x[2 * i + 1]
    at = _transform(m, tw, work)
    zr, zi = work[at, :m], work[at + 1, :m]
    re[0], im[0] = zr[0] + zi[0], 0.0
    re[m], im[m] = zr[0] - zi[0], 0.0
    # Both halves by themselves: a loop that also filled the other half backwards would not become vectors.
    c, s = tw[0, m + 1 : 2 * m], tw[1, m + 1 : 2 * m]
    low_r, low_i, yr, yi = zr[1:], zi[1:], re[1:m], im[1:m]
    for k in range(m - 1):
        er, ei = 0.5 * (low_r[k] + zr[-1 - k]), 0.5 * (low_i[k] - zi[-1 - k])
        dr, di = 0.5 * (low_r[k] - zr[-1 - k]), 0.5 * (low_i[k] + zi[-1 - k])
        yr[k], yi[k] = er + (c[k] * di - s[k] * dr), ei - (c[k] * dr + s[k] * di)


@kernel
def inverse_real_fft(re: Array, im: Array, n: int, tw: Array, work: Array, y: Array) -> None:
    """Fill y (n,) with n / 2 times the sound whose transform (1) is re, im (n / 2 + 1,).

    The imaginary parts at 0 and n / 2 count as 0. `tw` is of `twiddles`, `work` of `fft_work`, both for n or more.
    """
    m = n // 2
    # The forward transform with real and imaginary parts swapped is the inverse one.
    work[1, 0], work[0, 0] = 0.5 * (re[0] + re[m]), 0.5 * (re[0] - re[m])
    zr, zi = work[1, 1:m], work[0, 1:m]
    c, s = tw[0, m + 1 : 2 * m], tw[1, m + 1 : 2 * m]
    xr, xi = re[1:m], im[1:m]
    for k in range(m - 1):
        er, ei = 0.5 * (xr[k] + xr[-1 - k]), 0.5 * (xi[k] - xi[-1 - k])
        dr, di = 0.5 * (xr[k] - xr[-1 - k]), 0.5 * (xi[k] + xi[-1 - k])
        zr[k], zi[k] = er - (c[k] * di + s[k] * dr), ei + (c[k] * dr - s[k] * di)
    at = _transform(m, tw, work)
    zr, zi = work[at + 1, :m], work[at, :m]
    for i in range(m):
        y[2 * i], y[2 * i + 1] = zr[i], zi[i]
