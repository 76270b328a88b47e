"""What is seen of a sound: its waveform's outline, and its spectrogram as a small picture.

A pixel of the spectrogram tells the level of the strongest partial in its share of an octave, during its stretch of
time, in dB under a level that all sounds of a page share: a full-scale sine over a Hann window w of n samples has

    |X[k]| = sum(w) / 2                                                                                            (1)

Source: F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform",
Proc. IEEE 66(1), 1978.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from scipy.fft import rfft

from chainsim.units import Array

COLUMNS, ROWS = 1200, 240
SPECTROGRAM_HZ = (40.0, 16_000.0)
WINDOW_S = 0.09
"""Long enough to part a low horn's harmonics, short enough for its tonguing."""

TOP_OVER_LOUDNESS_DB = 6.0
"""Level of the lightest colour over the page's loudness: a lone sine tops its loudness by 3 dB, clicks by more."""
RANGE_DB = 80.0
SHADES = 48
"""Steps of the colour scale: 1.7 dB each; finer ones cannot be told apart and double the file."""

STOPS = (
    (0.00, (22, 24, 33)),
    (0.25, (34, 52, 71)),
    (0.50, (42, 104, 108)),
    (0.72, (168, 128, 72)),
    (0.88, (236, 184, 112)),
    (1.00, (255, 244, 220)),
)
"""From ink over sea to lamplight: always lighter, so that it reads without colours too, on paper and on dark."""

_COLUMNS_AT_ONCE = 64


def peaks(x: Array, columns: int = COLUMNS) -> Array:
    """Lowest and highest sample of each of equally long stretches, over all channels.

    Parameters
    ----------
    x : ndarray, shape (frames, channels)
        At least one frame.
    columns : int
        Fewer where there are fewer frames.

    Returns
    -------
    ndarray, shape (2, columns)
    """
    first = np.linspace(0, len(x), min(columns, len(x)), endpoint=False).astype(np.int64)
    return np.stack([np.minimum.reduceat(x.min(axis=1), first), np.maximum.reduceat(x.max(axis=1), first)])


def spectrogram(x: Array, sample_rate_hz: float, loudness_lufs: float) -> bytes:
    """Draw the spectrogram of a sound as PNG, 1200 x 240, the highest frequency on top.

    Parameters
    ----------
    x : ndarray, shape (frames, channels)
        Of several channels the mean power is seen.
    sample_rate_hz : float
    loudness_lufs : float
        Loudness of the page's sounds, by which a level gets its colour.
    """
    levels_db = spectrogram_levels(x, sample_rate_hz)
    top_db = loudness_lufs + TOP_OVER_LOUDNESS_DB
    share = np.clip(1.0 - (top_db - levels_db) / RANGE_DB, 0.0, 1.0)
    return _png(np.rint(share * (SHADES - 1)).astype(np.uint8))


def spectrogram_levels(x: Array, sample_rate_hz: float) -> Array:
    """Levels of a spectrogram in dB under a full-scale sine, shape (240, 1200), the highest frequency first.

    Parameters
    ----------
    x, sample_rate_hz
        As for `spectrogram`.
    """
    n = 1 << round(math.log2(WINDOW_S * sample_rate_hz))
    window = np.hanning(n + 1)[:-1]
    scale = 2.0 / float(window.sum())  # equation (1)
    bins = row_edges_hz() * (n / sample_rate_hz)
    levels = np.empty((COLUMNS, ROWS))
    for columns, frames, each in _frames(x, n):
        power = np.mean(np.abs(rfft(frames * window[:, np.newaxis], axis=1)) ** 2, axis=2) * scale**2
        strongest = power.reshape(-1, each, power.shape[1]).max(axis=1)
        levels[columns] = _in_rows(strongest, bins)
    levels_db: Array = 10.0 * np.log10(np.maximum(levels.T[::-1], 1e-20))
    return levels_db


def row_edges_hz() -> Array:
    """Frequencies between the rows, the lowest first, shape (241,)."""
    edges: Array = np.geomspace(*SPECTROGRAM_HZ, ROWS + 1)
    return edges


def shades() -> npt.NDArray[np.uint8]:
    """Colours from the softest to the loudest, shape (48, 3)."""
    at, colours = np.array([stop[0] for stop in STOPS]), np.array([stop[1] for stop in STOPS], dtype=np.float64)
    where = np.linspace(0.0, 1.0, SHADES)
    return np.stack([np.rint(np.interp(where, at, colours[:, i])) for i in range(3)], axis=1).astype(np.uint8)


def _frames(x: Array, n: int) -> Iterator[tuple[slice, Array, int]]:
    """Stretches of n frames, some columns at a time, each column the same number of them: none is left out."""
    hop = len(x) / COLUMNS
    each = max(1, math.ceil(hop / (n / 2)))
    padded = np.pad(x, ((n // 2, n // 2 + 1), (0, 0)))
    for first in range(0, COLUMNS, _COLUMNS_AT_ONCE):
        columns = slice(first, min(first + _COLUMNS_AT_ONCE, COLUMNS))
        centres = (np.arange(columns.start * each, columns.stop * each) + 0.5) * (hop / each)
        yield columns, padded[np.floor(centres).astype(np.int64)[:, np.newaxis] + np.arange(n)], each


def _in_rows(power: Array, edges: Array) -> Array:
    """Strongest of each row's bins; where a row is narrower than a bin, what lies between the bins beside it."""
    last = power.shape[1] - 1
    low, high = np.ceil(edges[:-1]).astype(np.int64), np.ceil(edges[1:]).astype(np.int64)
    middle = np.sqrt(edges[:-1] * edges[1:])
    below = np.clip(np.floor(middle).astype(np.int64), 0, last - 1)
    part = middle - below
    rows: Array = power[:, below] * (1.0 - part) + power[:, below + 1] * part
    for row in np.flatnonzero(high - low > 1):
        bins = power[:, min(low[row], last) : min(high[row], last + 1)]
        rows[:, row] = bins.max(axis=1) if bins.shape[1] else 0.0
    rows[:, edges[:-1] > last] = 0.0
    return rows


def _png(picture: npt.NDArray[np.uint8]) -> bytes:
    from PIL import Image

    image = Image.fromarray(picture).convert("P")
    image.putpalette(shades().tobytes())
    file = io.BytesIO()
    image.save(file, "PNG", optimize=True)
    return file.getvalue()
