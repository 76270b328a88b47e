"""Peaks and powers of a take and its voice, and the longest gap between them.

A sound's peaks are the largest samples of its cells of a millisecond. Between the pulses of a low tone they are small:
to compare two sounds, both are held for the period of the lower.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.units import Array

CELL_S = 0.001
GAP_DB = -20.0


def power(x: Array) -> float:
    """Mean square; 0 of nothing."""
    return float(np.mean(np.square(x))) if x.size else 0.0


def power_db(ratio: float) -> float:
    """A ratio of powers in dB; minus infinity of nothing."""
    return 10.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


def cell_peaks(x: Array, cell: int) -> Array:
    """Largest sample of each cell of `cell` samples, shape (cells,)."""
    whole = np.zeros(-(-x.size // cell) * cell)
    whole[: x.size] = np.abs(x)
    peaks: Array = whole.reshape(-1, cell).max(axis=1)
    return peaks


def held_peaks(peaks: Array, held: int) -> Array:
    """Largest of every `held` neighbouring cells; none if there are fewer."""
    if peaks.size < held:
        return np.zeros(0)
    largest: Array = np.lib.stride_tricks.sliding_window_view(peaks, held).max(axis=1)
    return largest


def runs(there: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """First cell of every run of true ones, and the cell behind its last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(np.int8)))
    return edges[::2], edges[1::2]


def longest_gap(take: Array, voice: Array, held: int) -> int:
    """Cells for which the voice's peaks lie more than 20 dB under the take's, at the longest."""
    low = held_peaks(voice, held) < 10.0 ** (GAP_DB / 20.0) * held_peaks(take, held)
    first, last = runs(low)
    longest = int(np.max(last - first, initial=0))
    # Holding a peak hides all but one cell of its own length.
    return longest + held - 1 if longest else 0
