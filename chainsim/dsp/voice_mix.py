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
        State: where the ring is written next, that is, its oldest sample.
    """
    count, width, length = gains.shape[0], rest.shape[0], ring.shape[1]
    channels, frames = y.shape
    for c in range(channels):
        own = min(c, width - 1)
        for i in range(frames):
            y[c, i] = beside * rest_gain[i] * rest[own, i]
        for v in range(count):
            r, g, start = v * width + own, gains[v, c], head[0]
            if delays[v] == 0:
                for i in range(frames):
                    y[c, i] += g * voices[r, i]
                continue
            for i in range(frames):
                # What comes before the ring's oldest sample is still in this span.
                j = i - delays[v]
                y[c, i] += g * (voices[r, j] if j >= 0 else ring[r, (start + length + j) % length])
        for i in range(frames):
            y[c, i] *= gain[i]
    for r in range(voices.shape[0]):
        at = (head[0] + max(frames - length, 0)) % length
        for i in range(max(frames - length, 0), frames):
            ring[r, at] = voices[r, i]
            at = at + 1 if at + 1 < length else 0
    head[0] = (head[0] + frames) % length
