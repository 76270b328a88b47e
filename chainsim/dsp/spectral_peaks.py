"""Peaks of a spectrum under a Hann window: where each lies, its phase, and the region around it.

With time 0 in the middle of the frame, a sinusoid of frequency f (in bins) and phase phi shows in the bins next to f as
X[k] = A W(f - k) exp(j phi). For a Hann window W(d) = sin(pi d) / (pi d (1 - d^2)), and so, exactly,

    f = k + 2 Re(s* (X[k+1] - X[k-1])) / |s|^2,    s = X[k-1] + 2 X[k] + X[k+1],    phi = arg s                 (1)

Here time 0 lies `late` samples after the middle: the neighbours are turned back by 2 pi late / n for (1), and the phase
goes on to that time.

A peak is higher than two neighbours on either side, and regions part where the power between two peaks is least [1]_.

References
----------
.. [1] J. Laroche, M. Dolson, "Improved phase vocoder time-scale modification of audio", IEEE Trans. Speech and Audio
   Processing 7(3), 1999, 323-332.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array, Counts

FREQUENCY = 0
"""In bins, with its fraction, at the middle of the frame."""

PHASE = 1
"""At the frame's time, in radians."""

POWER = 2
"""A^2."""

REGION_POWER = 3
"""Sum of |X|^2 over the region."""

NOW_FREQUENCY = 4
"""In bins, at the frame's time: `chainsim.dsp.peak_turning` tells it."""

FIELDS = 5

BIN, START, END = 0, 1, 2
"""A peak's own bin; the first one of its region, and the first one behind it."""

TURN = 2.0 * math.pi

LEAST_POWER = 1e-7
"""Of the strongest peak: what is 70 dB weaker goes with its neighbour."""

_PAD = 2


class Peaks(NamedTuple):
    """The peaks of one frame.

    Attributes
    ----------
    total : ndarray of int64, shape (1,)
        How many there are.
    measured : ndarray, shape (FIELDS, most)
    regions : ndarray of int64, shape (3, most)
    owner : ndarray of int64, shape (bins,)
        Of each bin, the peak to whose region it belongs.
    new : ndarray of int64, shape (most,)
        1 where an attack brought the peak, and 0.
    theta : ndarray, shape (voices, most)
        By how much it is turned, in radians.
    """

    total: Counts
    measured: Array
    regions: Counts
    owner: Counts
    new: Counts
    theta: Array


def most_peaks(n: int) -> int:
    """How many peaks a frame of n samples can have."""
    return (n // 2 + 1) // 3 + 1


def room_for_peaks(n: int, voices: int) -> Peaks:
    """No peaks yet, of frames of n samples."""
    bins, most = n // 2 + 1, most_peaks(n)
    return Peaks(
        np.zeros(1, np.int64),
        np.zeros((FIELDS, most)),
        np.zeros((3, most), np.int64),
        np.zeros(bins, np.int64),
        np.zeros(most, np.int64),
        np.zeros((voices, most)),
    )


def padded_power(n: int) -> Array:
    """Room for the power of each bin, and of two on either side in which no peak lies."""
    power = np.zeros(n // 2 + 1 + 2 * _PAD)
    power[:_PAD] = power[-_PAD:] = -1.0
    return power


@kernel
def find_peaks(re: Array, im: Array, late: float, power: Array, found: Peaks) -> None:
    """Find the peaks of the spectrum re, im (bins,), and how its power, of `padded_power`, parts into regions.

    `late` is the frame's time after its middle, relative to the frame. There are no peaks only where all is 0.
    """
    bins, regions, measured = re.shape[0], found.regions, found.measured
    inner = power[_PAD : _PAD + bins]
    strongest = 0.0
    for k in range(bins):
        inner[k] = re[k] * re[k] + im[k] * im[k]
        strongest = max(strongest, inner[k])
    floor = LEAST_POWER * strongest
    count, least, least_at = 0, math.inf, 0
    for k in range(bins):
        own = power[k + 2]
        if own < least:
            least, least_at = own, k
        if own > floor and own > power[k + 1] and own > power[k] and own >= power[k + 3] and own >= power[k + 4]:
            if count > 0:
                regions[END, count - 1] = least_at
            regions[START, count] = least_at if count > 0 else 0
            regions[BIN, count] = k
            count += 1
            least = math.inf
    if count > 0:
        regions[END, count - 1] = bins
    turned = TURN * late
    c, s = math.cos(turned), math.sin(turned)
    for j in range(count):
        total = 0.0
        for k in range(regions[START, j], regions[END, j]):
            total += inner[k]
            found.owner[k] = j
        measured[REGION_POWER, j] = total
        _measure(re, im, regions[BIN, j], inner[regions[BIN, j]], turned, c, s, measured, j)
    found.total[0] = count


@kernel
def _measure(
    re: Array, im: Array, k: int, power: float, turned: float, c: float, s: float, measured: Array, j: int
) -> None:
    """Equation (1); beyond either end the spectrum goes on as its own mirror image."""
    last = re.shape[0] - 1
    below_r, below_i = (re[k - 1], im[k - 1]) if k > 0 else (re[1], -im[1])
    above_r, above_i = (re[k + 1], im[k + 1]) if k < last else (re[last - 1], -im[last - 1])
    below_r, below_i = c * below_r - s * below_i, c * below_i + s * below_r
    above_r, above_i = c * above_r + s * above_i, c * above_i - s * above_r
    sr, si = below_r + 2.0 * re[k] + above_r, below_i + 2.0 * im[k] + above_i
    norm = sr * sr + si * si
    aside = 0.0
    if norm > 0.0:
        aside = 2.0 * (sr * (above_r - below_r) + si * (above_i - below_i)) / norm
        aside = min(max(aside, -1.0), 1.0)
    # W(d) to its fourth power of d.
    scallop = 1.0 - aside * aside * (0.6449 - 0.1668 * aside * aside)
    measured[FREQUENCY, j] = max(k + aside, 0.0)
    measured[PHASE, j] = math.atan2(si, sr) + aside * turned
    measured[POWER, j] = power / (scallop * scallop)
