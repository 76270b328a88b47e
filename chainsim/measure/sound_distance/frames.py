"""A stream in bands: power of overlapping frames, spread over neighbouring bands and in time.

Frame m is Hann-windowed, its middle at sample m hop, hop half the frame. The power of its bins goes to a grid that is
even on the bands' scale and from there, spread, into the bands. What was louder just before masks, as in [1]_:

    s[m] = a s[m-1] + (1 - a) e[m],   E[m] = max(e[m], s[m]),   a = exp(-hop / tau)                            (1)

The first three bins, into which 0 Hz leaks, are left out.

References
----------
.. [1] ITU-R BS.1387-1 (2001), Annex 2: time-domain spreading, from memory.
"""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

import numpy as np

from chainsim.dsp.real_fft import GREATEST, SMALLEST, fft_work, real_fft, twiddles
from chainsim.kernel import kernel
from chainsim.measure.sound_distance.pitch_scale import PitchBands
from chainsim.measure.sound_distance.scale import EarBands
from chainsim.units import Array, Audio, Counts

LEAKING_BINS = 3


@kernel
def band_powers(
    x: Audio, window: Array, tw: Array, work: Array, frame: Array, re: Array, im: Array, lower: Counts, shares: Array,
    spread: Array, fine: Array, keep: Array, smeared: Array, y: Array,
) -> None:  # fmt: skip
    """Fill y (rows, frames, bands) with the power of each whole frame of x (channels, samples).

    Rows are the channels and, if there are four, then half the sum and half the difference of two. Of bin k the share
    shares[0, k] goes to place lower[k] of the grid and shares[1, k] to the next; spread (bands, places). keep
    (bands,) is a of equation (1), smeared (rows, bands) its s. frame (size,), re and im (channels, bins), and fine
    (places,) are scratch.
    """
    channels, size = x.shape[0], window.shape[0]
    for m in range(y.shape[1]):
        first = m * (size // 2)
        for c in range(channels):
            sounds = False
            for i in range(size):
                frame[i] = x[c, first + i] * window[i]
                sounds |= frame[i] != 0.0
            if sounds:
                real_fft(frame, size, tw, work, re[c], im[c])
            else:
                for k in range(lower.shape[0]):
                    re[c, k], im[c, k] = 0.0, 0.0
        for r in range(y.shape[0]):
            for j in range(fine.shape[0]):
                fine[j] = 0.0
            for k in range(lower.shape[0]):
                if r < channels:
                    u, v = re[r, k], im[r, k]
                elif r == channels:
                    u, v = 0.5 * (re[0, k] + re[1, k]), 0.5 * (im[0, k] + im[1, k])
                else:
                    u, v = 0.5 * (re[0, k] - re[1, k]), 0.5 * (im[0, k] - im[1, k])
                power = u * u + v * v
                fine[lower[k]] += shares[0, k] * power
                fine[lower[k] + 1] += shares[1, k] * power
            for b in range(y.shape[2]):
                e = 0.0
                for j in range(fine.shape[0]):
                    e += spread[b, j] * fine[j]
                s = keep[b] * smeared[r, b] + (1.0 - keep[b]) * e
                smeared[r, b] = s if s > 1e-30 else 0.0
                y[r, m, b] = max(e, s)


class _Tables(NamedTuple):
    """What all frames of one kind have in common; many sounds are cut at once."""

    window: Array
    twiddles: Array
    lower: Counts
    shares: Array
    spread: Array
    keep: Array


@functools.cache
def _tables(sample_rate_hz: float, size: int, bands: EarBands | PitchBands) -> _Tables:
    window: Array = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(size) / size)
    bins = np.arange(size // 2 + 1, dtype=np.float64)
    spread = bands.spreading()
    last = spread.shape[1] - 1
    place = np.maximum(bands.places(bins * (sample_rate_hz / size)), -1.0)
    lower = np.clip(np.floor(place), 0, last - 1).astype(np.int64)
    counts = (bins >= LEAKING_BINS) & (place >= 0.0) & (place <= last)
    scale = np.where(counts, 2.0 / (size * np.sum(window**2)), 0.0)
    upper = np.clip(place - lower, 0.0, 1.0)
    with np.errstate(divide="ignore"):
        keep = np.exp(-(size // 2) / (sample_rate_hz * bands.forgetting_s()))
    return _Tables(
        window=window,
        twiddles=twiddles(size),
        lower=lower,
        shares=np.stack([scale * (1.0 - upper), scale * upper]),
        spread=spread,
        keep=keep,
    )


class BandFrames:
    """Cuts a stream of chunks into frames and gives the power of their bands; any cuts give the same bits.

    Parameters
    ----------
    sample_rate_hz : float
    channels : int, 1 or 2
    size : int
        Samples of a frame, a power of two.
    bands : EarBands or PitchBands
    sides : bool
        With two channels, give half their sum and half their difference, too, as rows behind them.

    Attributes
    ----------
    hop : int
        Samples from a frame to the next.
    """

    def __init__(
        self, sample_rate_hz: float, channels: int, size: int, bands: EarBands | PitchBands, *, sides: bool = False
    ) -> None:
        self.hop = size // 2
        self._rows, self._bands = 2 * channels if sides and channels == 2 else channels, bands.count
        self._tables = _tables(sample_rate_hz, size, bands)
        self._work, self._frame = fft_work(size), np.zeros(size)
        self._re, self._im = np.zeros((channels, self.hop + 1)), np.zeros((channels, self.hop + 1))
        self._fine = np.zeros(self._tables.spread.shape[1])
        self._smeared = np.zeros((self._rows, bands.count))
        self._waiting = np.zeros((channels, self.hop))

    def add(self, x: Audio) -> Array:
        """Take the next chunk, shape (channels, frames); return powers, shape (rows, frames that are whole, bands)."""
        joined = np.concatenate([self._waiting, x], axis=1)
        count = max(0, joined.shape[1] // self.hop - 1)
        powers = np.empty((self._rows, count, self._bands))
        t = self._tables
        band_powers(
            joined, t.window, t.twiddles, self._work, self._frame, self._re, self._im, t.lower, t.shares, t.spread,
            self._fine, t.keep, self._smeared, powers,
        )  # fmt: skip
        self._waiting = joined[:, count * self.hop :].copy()
        return powers


def frame_size(seconds: float, sample_rate_hz: float) -> int:
    """The power of two nearest to so many seconds, among the sizes that can be transformed."""
    return min(max(1 << round(math.log2(seconds * sample_rate_hz)), SMALLEST), GREATEST)
