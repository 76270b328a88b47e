"""How long a sound goes on after the playing: until it stays under -60 dB of its loudest."""

from __future__ import annotations

import math

import numpy as np

from chainsim.measure.signals import check_chunk, check_rate
from chainsim.units import Array, Audio

FALLEN_DB = -60.0
"""Against the loudest block; ISO 3382-1 names decay times by this fall."""
BLOCK_S = 0.010


class RingingMeter:
    """Meters a sound span by span; any cuts give the same figure. It keeps a number every 10 ms after the playing.

    Parameters
    ----------
    sample_rate_hz : float, at least 1000
    channels : int
    playing_frames : int
        Frame from which on nothing new comes in: the length of the take, and the latency of the sound.
    """

    def __init__(self, sample_rate_hz: float, channels: int, playing_frames: int) -> None:
        check_rate(sample_rate_hz, "ringing")
        self._channels, self._playing_frames = channels, playing_frames
        self._rate_hz = sample_rate_hz
        self._block = max(1, round(BLOCK_S * sample_rate_hz))
        self._waiting = np.zeros((channels, 0))
        self._blocks, self._loudest = 0, 0.0
        self._ringing: list[Array] = []

    def add(self, y: Audio) -> None:
        """Take the next span, shape (channels, frames)."""
        check_chunk(y, self._channels, "ringing")
        joined = np.concatenate([self._waiting, y], axis=1)
        whole = joined.shape[1] // self._block * self._block
        blocks = joined[:, :whole].reshape(self._channels, -1, self._block)
        powers = (blocks**2).sum(axis=2).sum(axis=0)
        self._loudest = float(np.max(powers, initial=self._loudest))
        playing = max(0, self._playing_frames // self._block - self._blocks)
        if playing < len(powers):
            self._ringing.append(powers[playing:].copy())
        self._blocks += len(powers)
        self._waiting = joined[:, whole:].copy()

    def result(self) -> float:
        """Seconds, in steps of 10 ms; NaN for silence."""
        unfinished = float(np.sum(self._waiting**2))
        loudest = max(self._loudest, unfinished)
        if not loudest > 0.0:
            return math.nan
        powers = np.concatenate([*self._ringing, [unfinished]])
        above = np.flatnonzero(powers > 10.0 ** (FALLEN_DB / 10.0) * loudest)
        if not above.size:
            return 0.0
        last = self._blocks + 1 - len(powers) + int(above[-1])
        return max(0.0, ((last + 1) * self._block - self._playing_frames) / self._rate_hz)
