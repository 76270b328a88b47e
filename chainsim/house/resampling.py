"""A sound at another sample rate, any part of it by itself.

    y[n] = sum over k of h(t - k) x[k],   t = n fs_x / fs_y,   h(t) = s sinc(s t) w(t)                          (1)

with a Kaiser window w and s the share of the lower rate, so that nothing folds. h is read from a table of 512 phases
by straight lines (error under -110 dB), since most pairs of rates have more phases than that.

Source: J. O. Smith III, "Digital Audio Resampling Home Page" (bandlimited interpolation).
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array, Audio

PHASES = 512
HALF_TAPS = 32
BETA = 9.0
"""Of the window: side lobes 90 dB down."""
TRANSITION = 0.91
"""Where the response begins to fall, so that it is down at half the lower rate."""


def interpolation_table(from_hz: float, to_hz: float) -> Array:
    """Table of h, shape (phases + 1, taps): row p holds h at the taps around a time p / phases after the middle one."""
    share = min(1.0, to_hz / from_hz)
    half = math.ceil(HALF_TAPS / share)
    t = np.arange(PHASES + 1)[:, None] / PHASES - np.arange(1 - half, half + 1)
    window = np.i0(BETA * np.sqrt(np.maximum(1.0 - (t / half) ** 2, 0.0))) / np.i0(BETA)
    table: Array = np.sinc(TRANSITION * share * t) * window
    table /= np.sum(table, axis=1, keepdims=True)
    return table


@kernel
def interpolate(x: Audio, first: int, n0: int, from_hz: int, to_hz: int, table: Array, y: Audio) -> None:
    """Fill y (channels, frames), from frame n0 on, with equation (1).

    Parameters
    ----------
    x : ndarray, shape (channels, any)
        The sound from its frame `first` on: all that the taps reach.
    first, n0, from_hz, to_hz : int
    table : ndarray
        Of `interpolation_table`.
    y : ndarray, shape (channels, frames)
    """
    phases, taps = table.shape[0] - 1, table.shape[1]
    for c in range(y.shape[0]):
        for i in range(y.shape[1]):
            whole = (n0 + i) * from_hz // to_hz
            at = ((n0 + i) * from_hz - whole * to_hz) / to_hz * phases
            row = int(at)
            part = at - row
            begin = whole + 1 - taps // 2 - first
            total = 0.0
            for k in range(taps):
                total += (table[row, k] + part * (table[row + 1, k] - table[row, k])) * x[c, begin + k]
            y[c, i] = total


def needed(n0: int, frames: int, from_hz: int, to_hz: int, table: Array) -> tuple[int, int]:
    """First frame, and how many, that `interpolate` reads for so many frames from n0 on."""
    half = table.shape[1] // 2
    first = n0 * from_hz // to_hz + 1 - half
    last = (n0 + max(frames, 1) - 1) * from_hz // to_hz + half
    return first, last - first + 1
