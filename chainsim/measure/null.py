"""Whether two sounds null: what is left when one is taken from the other, in dB; for many without keeping them, too.

    R(x, y) = 10 log10( |x - y|^2 / max(|x|^2, |y|^2) )                                                        (1)

A sound of any length is reduced to a count sketch S of K values [1]_: each sample is added to one of them, or taken off
it, place and sign drawn by a hash of its index. It is linear, and

    E |S(x) - S(y)|^2 = |x - y|^2,   relative standard deviation sqrt(2 / K) [2]_: 2.2 % or 0.1 dB              (2)

so that R is found from the sketches of any two. Every place holds a rounded sum of many samples: under some -290 dB, R
tells no more than that.

References
----------
.. [1] M. Charikar, K. Chen, M. Farach-Colton, "Finding frequent items in data streams", ICALP 2002.
.. [2] N. Alon, Y. Matias, M. Szegedy, "The space complexity of approximating the frequency moments", J. Computer and
   System Sciences 58, 1999, 137-147.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.hashed_noise import hashed
from chainsim.errors import AudioError
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

NULL_DB = -120.0
"""Two sounds null if less is left than this: the last of 20 bits, which nobody hears beside the sound itself.
Orders that are the same in theory differ by rounding, around -300 dB; others seldom by less than -60 dB."""
PLACES = 4096
SEED = 7


@kernel
def sketch_samples(y: Audio, first: int, places: Array) -> None:
    """Add y (channels, frames) to the count sketch; first is the index of its first frame, one channel counts twice."""
    size = places.shape[0]
    channels = y.shape[0]
    for i in range(y.shape[1]):
        for c in range(2):
            drawn = int((hashed(SEED, 2 * (first + i) + c) + 1.0) * size)
            v = y[c % channels, i]
            places[drawn >> 1] += v if drawn & 1 else -v


@kernel
def squared_distances(sketches: Array, squares: Array) -> None:
    """Fill squares (n, n) over its diagonal with |S_i - S_j|^2 of sketches (n, places), places a multiple of 4."""
    for i in range(sketches.shape[0]):
        for j in range(i + 1, sketches.shape[0]):
            # Four sums, since the next addition to one must wait for the last.
            p, q, r, s = 0.0, 0.0, 0.0, 0.0
            for k in range(0, sketches.shape[1], 4):
                p += (sketches[i, k] - sketches[j, k]) ** 2
                q += (sketches[i, k + 1] - sketches[j, k + 1]) ** 2
                r += (sketches[i, k + 2] - sketches[j, k + 2]) ** 2
                s += (sketches[i, k + 3] - sketches[j, k + 3]) ** 2
            squares[i, j] = (p + q) + (r + s)


class NullMeter:
    """Reduces a sound, in chunks, to a count sketch; any cuts give the same bits.

    Parameters
    ----------
    latency_frames : int
        How late the sound is: sounds are compared by frames counted from there.
    """

    def __init__(self, latency_frames: int = 0) -> None:
        self._next = -int(latency_frames)
        self._places = np.zeros(PLACES)

    def add(self, y: Audio) -> None:
        """Take the next chunk, shape (1 or 2 channels, frames), C-contiguous float64."""
        if y.ndim != 2 or y.shape[0] not in (1, 2) or y.dtype != np.float64 or not y.flags.c_contiguous:
            raise AudioError(
                f"null: chunk of {y.dtype}, shape {y.shape}, wanted C-contiguous float64, (1 or 2, frames)"
            )
        sketch_samples(y, self._next, self._places)
        self._next += y.shape[1]

    def result(self) -> Array:
        """The sketch of what has been read so far, shape (places,); AudioError if a sample was not finite."""
        if not np.isfinite(self._places).all():
            raise AudioError("null: the sound holds a sample that is not finite")
        return self._places.copy()


def residual_db(a: Array, b: Array) -> float:
    """R of equation (1) from the sketches of two sounds; minus infinity if they are equal.

    Raises
    ------
    ValueError
        If these are no sketches.
    """
    return float(residual_matrix(np.stack([a, b]))[0, 1])


def residual_matrix(sketches: Array) -> Array:
    """R of equation (1) of every pair.

    Parameters
    ----------
    sketches : ndarray, shape (sounds, places)
        Of `NullMeter`.

    Returns
    -------
    ndarray, shape (sounds, sounds)
        In dB; minus infinity for equal sounds and from corner to corner.

    Raises
    ------
    ValueError
        If these are no such sketches: what is read from a file may be anything.
    """
    rows = np.ascontiguousarray(sketches, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] != PLACES:
        raise ValueError(f"null: sketches of shape {rows.shape}, wanted (sounds, {PLACES})")
    if not np.isfinite(rows).all():
        bad = int(np.argmin(np.isfinite(rows).all(axis=1)))
        raise ValueError(f"null: sketch {bad} holds a value that is not finite")
    squares = np.zeros((len(rows), len(rows)))
    squared_distances(rows, squares)
    powers = np.sum(rows**2, axis=1)
    return _level_db(squares + squares.T, np.maximum.outer(powers, powers))


def _level_db(squares: Array, powers: Array) -> Array:
    level_db: Array = np.full(squares.shape, -math.inf)
    differs = squares > 0.0
    ratio = np.divide(squares, powers, out=np.ones_like(level_db), where=differs)
    np.log10(ratio, out=level_db, where=differs)
    return 10.0 * level_db
