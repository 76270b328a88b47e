"""What a reverb does to its input before the feedback delay network: a low cut, allpass diffusers, a chain of springs.

Allpass diffuser (Schroeder): y = -g x + s, s(n + M) = x + g y, that is H(z) = (-g + z^-M) / (1 - g z^-M).       (1)

Spring: a chain of stretched first-order allpasses, each

    A(z) = (a + z^-K) / (1 + a z^-K),   K = fs / (2 fc)                                                           (2)

which delays K (1 - a)/(1 + a) samples at 0 Hz and K (1 + a)/(1 - a) at fc, so that a click becomes a rising chirp.
Each allpass hears the one before it K samples late, so that all of them can be worked out at once.

Sources: M. R. Schroeder, "Natural sounding artificial reverberation", J. AES 10, 1962; V. Valimaki, J. Parker and
J. S. Abel, "Parametric spring reverberation effect", J. AES 58, 2010 (stretched allpass chain).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from chainsim.dsp.biquad import biquad_tick
from chainsim.dsp.envelope import FLUSH
from chainsim.kernel import kernel
from chainsim.units import Array, Audio


@kernel
def filter_span(coefficients: Array, z: Array, frames: int, s: Array) -> None:
    """Filters as `biquad.sections` gives them, in pairs as `biquad.biquad_df2t` has them, in place on s (32,)."""
    for k in range(0, coefficients.shape[0], 2):
        b0, b1, b2, a1, a2 = coefficients[k]
        d0, d1, d2, e1, e2 = coefficients[k + 1]
        s1, s2, u1, u2 = z[k, 0], z[k, 1], z[k + 1, 0], z[k + 1, 1]
        for i in range(frames):
            v, s1, s2 = biquad_tick(s[i], s1, s2, b0, b1, b2, a1, a2)
            s[i], u1, u2 = biquad_tick(v, u1, u2, d0, d1, d2, e1, e2)
        z[k, 0], z[k, 1], z[k + 1, 0], z[k + 1, 1] = s1, s2, u1, u2


@kernel
def diffuse_span(
    gain: float,
    lengths: npt.NDArray[np.int64],
    heads: npt.NDArray[np.int64],
    rings: Array,
    frames: int,
    s: Array,
) -> None:
    """Allpasses of equation (1) one after another, in place on s (32,).

    Each is at least 32 samples long, so that a span does not hear itself; rings (allpasses, longest).
    """
    for j in range(lengths.shape[0]):
        head = heads[j]
        done = 0
        while done < frames:
            count = min(frames - done, lengths[j] - head)
            at, first = np.uint64(head), np.uint64(done)
            for i in range(count):
                k = np.uint64(i)
                x, old = s[first + k], rings[j, at + k]
                y = old - gain * x
                new = x + gain * y
                rings[j, at + k] = 0.0 if abs(new) < FLUSH else new
                s[first + k] = y
            done += count
            head = head + count if head + count < lengths[j] else 0
        heads[j] = head


@kernel
def disperse_span(
    a: float, head: npt.NDArray[np.int64], ring: Array, waiting: Array, out: Array, frames: int, s: Array
) -> None:
    """Allpasses of equation (2), all at once, in place on s (32,).

    Parameters
    ----------
    a : float
    head : ndarray of int64, shape (1,)
        Which of the K rows comes next.
    ring : ndarray, shape (K, allpasses)
        What each allpass had inside K samples before.
    waiting : ndarray, shape (K * allpasses + 1,)
        What each is to hear: the output of the one before, K samples late.
    out : ndarray, shape (K * allpasses,)
        Work space.
    frames : int
    s : ndarray, shape (32,)
    """
    stretch, count = ring.shape
    flat = ring.reshape(stretch * count)
    done = 0
    while done < frames:
        rows = min(frames - done, stretch - head[0])
        for i in range(rows):
            waiting[(head[0] + i) * count] = s[done + i]
        at = np.uint64(head[0] * count)
        for i in range(rows * count):
            k = np.uint64(i)
            old = flat[at + k]
            new = waiting[at + k] - a * old
            new = 0.0 if abs(new) < FLUSH else new
            flat[at + k] = new
            out[k] = a * new + old
        at += np.uint64(1)
        for i in range(rows * count):
            k = np.uint64(i)
            waiting[at + k] = out[k]
        for i in range(rows):
            s[done + i] = out[(i + 1) * count - 1]
        done += rows
        head[0] = head[0] + rows if head[0] + rows < stretch else 0


@kernel
def store_span(s: Array, frames: int, c: int, at: int, ring: Audio) -> None:
    """Put s into ring (channels, 2 size) at `at` and a second time `size` further on, so that reads never wrap."""
    size = ring.shape[1] // 2
    low, high = np.uint64(at), np.uint64(at + size)
    for i in range(frames):
        k = np.uint64(i)
        ring[c, low + k] = s[i]
        ring[c, high + k] = s[i]


@kernel
def add_taps(
    ring: Audio,
    at: int,
    taps: npt.NDArray[np.int64],
    sources: npt.NDArray[np.int64],
    gains: Array,
    frames: int,
    q: Array,
) -> None:
    """Add to each row of q (rows * 32) what its source channel stored `taps` samples before, times its gain."""
    size = ring.shape[1] // 2
    for k in range(taps.shape[0]):
        c, g = sources[k], gains[k]
        low, row = np.uint64(at + size - taps[k]), np.uint64(32 * k)
        for i in range(frames):
            j = np.uint64(i)
            q[row + j] += g * ring[c, low + j]
