"""Voices put together: each later by its delay, at its gain and place; and what passes beside them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from chainsim.kernel import kernel
from chainsim.units import Array, Audio


@kernel
def mix_voices(
    voices: Audio,
    rest: Audio,
    gains: Audio,
    delays: npt.NDArray[np.int64],
    beside: float,
    rest_gain: Array,
    gain: Array,
    ring: Audio,
    head: npt.NDArray[np.int64],
    y: Audio,
) -> None:
    """Fill y (channels, frames).

    Parameters
    ----------
    voices : ndarray, shape (voices * width, frames)
        Voice by voice, each `width` channels: 1, which goes to all of y, or as many as y has.
    rest : ndarray, shape (width, frames)
    gains : ndarray, shape (voices, channels)
    delays : ndarray of int64, shape (voices,)
        Samples, less than the length of the ring.
    beside : float
        Gain of the rest, by which `rest_gain` (frames,) is multiplied.
    gain : ndarray, shape (frames,)
        Of everything.
    ring : ndarray, shape (voices * width, longest delay + 1)
    head : ndarray of int64, shape (1,)
        State: where the ring is written next.
    """
    count, width, length = gains.shape[0], rest.shape[0], ring.shape[1]
    at = head[0]
    for i in range(y.shape[1]):
        for r in range(voices.shape[0]):
            ring[r, at] = voices[r, i]
        for c in range(y.shape[0]):
            own = min(c, width - 1)
            total = beside * rest_gain[i] * rest[own, i]
            for v in range(count):
                j = at - delays[v]
                total += gains[v, c] * ring[v * width + own, j + length if j < 0 else j]
            y[c, i] = gain[i] * total
        at = at + 1 if at + 1 < length else 0
    head[0] = at
