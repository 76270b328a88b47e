"""Peaks of a spectrum under a Hann window: where each lies, its phase, and the region around it.

With time 0 in the middle of the frame, a sinusoid of frequency f (in bins) and phase phi shows in the bins next to f as
X[k] = A W(f - k) exp(j phi). For a Hann window W(d) = sin(pi d) / (pi d (1 - d^2)), and so, exactly,

    f = k + 2 Re(s* (X[k+1] - X[k-1])) / |s|^2,    s = X[k-1] + 2 X[k] + X[k+1],    phi = arg s                 (1)

A peak is higher than two neighbours on either side, and regions part where the power between two peaks is least [1]_.

References
----------
.. [1] J. Laroche, M. Dolson, "Improved phase vocoder time-scale modification of audio", IEEE Trans. Speech and Audio
   Processing 7(3), 1999, 323-332.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.kernel import kernel
from chainsim.units import Array

Counts: TypeAlias = npt.NDArray[np.int64]

FREQUENCY = 0
"""In bins, with its fraction."""

PHASE = 1
"""At the middle of the frame, in radians."""

POWER = 2
"""A^2."""

REGION_POWER = 3
"""Sum of |X|^2 over the region."""

FIELDS = 4

BIN, START, END = 0, 1, 2
"""A peak's own bin; the first one of its region, and the first one behind it."""

_PAD = 2


def peak_arrays(n: int) -> tuple[Array, Counts, Counts]:
    """Room for the peaks of a spectrum of n / 2 + 1 bins.

    Returns
    -------
    peaks : ndarray, shape (FIELDS, most)
    regions : ndarray of int64, shape (3, most)
    owner : ndarray of int64, shape (n / 2 + 1,)
        Of each bin, the peak to whose region it belongs.
    """
    bins = n // 2 + 1
    most = bins // 3 + 1
    return np.zeros((FIELDS, most)), np.zeros((3, most), np.int64), np.zeros(bins, np.int64)


def padded_power(n: int) -> Array:
    """Room for the power of each bin, and of two on either side in which no peak lies."""
    power = np.zeros(n // 2 + 1 + 2 * _PAD)
    power[:_PAD] = power[-_PAD:] = -1.0
    return power


@kernel
def find_peaks(re: Array, im: Array, power: Array, peaks: Array, regions: Counts, owner: Counts) -> int:
    """Fill `power`, `peaks`, `regions` and `owner` from the spectrum re, im (bins,); return how many peaks there are.

    There are none only where all is 0.
    """
    bins = re.shape[0]
    inner = power[_PAD : _PAD + bins]
    for k in range(bins):
        inner[k] = re[k] * re[k] + im[k] * im[k]
    count, least, least_at = 0, math.inf, 0
    for k in range(bins):
        own = power[k + 2]
        if own < least:
            least, least_at = own, k
        if own > power[k + 1] and own > power[k] and own >= power[k + 3] and own >= power[k + 4] and own > 0.0:
            if count > 0:
                regions[END, count - 1] = least_at
            regions[START, count] = least_at if count > 0 else 0
            regions[BIN, count] = k
            count += 1
            least = math.inf
    if count > 0:
        regions[END, count - 1] = bins
    for j in range(count):
        total = 0.0
        for k in range(regions[START, j], regions[END, j]):
            total += inner[k]
            owner[k] = j
        peaks[REGION_POWER, j] = total
        _measure(re, im, regions[BIN, j], inner[regions[BIN, j]], peaks, j)
    return count


@kernel
def _measure(re: Array, im: Array, k: int, power: float, peaks: Array, j: int) -> None:
    """Equation (1); beyond either end the spectrum goes on as its own mirror image."""
    last = re.shape[0] - 1
    below_r, below_i = (re[k - 1], im[k - 1]) if k > 0 else (re[1], -im[1])
    above_r, above_i = (re[k + 1], im[k + 1]) if k < last else (re[last - 1], -im[last - 1])
    sr, si = below_r + 2.0 * re[k] + above_r, below_i + 2.0 * im[k] + above_i
    norm = sr * sr + si * si
    aside = 0.0
    if norm > 0.0:
        aside = 2.0 * (sr * (above_r - below_r) + si * (above_i - below_i)) / norm
        aside = min(max(aside, -1.0), 1.0)
    # W(d) to its fourth power of d.
    scallop = 1.0 - aside * aside * (0.6449 - 0.1668 * aside * aside)
    peaks[FREQUENCY, j] = max(k + aside, 0.0)
    peaks[PHASE, j] = math.atan2(si, sr)
    peaks[POWER, j] = power / (scallop * scallop)
