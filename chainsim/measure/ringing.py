"""How long a sound goes on after the playing: until it stays under -60 dB of its loudest."""

from __future__ import annotations

import math

import numpy as np

from chainsim.measure.signals import check_chunk, check_rate
from chainsim.units import Audio

FALLEN_DB = -60.0
"""Against the loudest block; ISO 3382-1 names decay times by this fall."""
BLOCK_S = 0.010


class RingingMeter:
    """Meters a sound span by span; any cuts give the same figure.

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
        self._powers: list[float] = []

    def add(self, y: Audio) -> None:
        """Take the next span, shape (channels, frames)."""
        check_chunk(y, self._channels, "ringing")
        joined = np.concatenate([self._waiting, y], axis=1)
        whole = joined.shape[1] // self._block * self._block
        blocks = joined[:, :whole].reshape(self._channels, -1, self._block)
        self._powers += (blocks**2).sum(axis=(0, 2)).tolist()
        self._waiting = joined[:, whole:].copy()

    def result(self) -> float:
        """Seconds, in steps of 10 ms; NaN for silence."""
        powers = np.array([*self._powers, float(np.sum(self._waiting**2))])
        loudest = float(powers.max())
        if not loudest > 0.0:
            return math.nan
        last = int(np.flatnonzero(powers > 10.0 ** (FALLEN_DB / 10.0) * loudest)[-1])
        return max(0.0, ((last + 1) * self._block - self._playing_frames) / self._rate_hz)
