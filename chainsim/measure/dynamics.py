"""What a chain does to dynamics: how much louder soft, medium and loud playing comes out than it went in.

The take's momentary loudness (400 ms, ITU-R BS.1770-5) every 100 ms sorts its playing into thirds; what comes out is
read as much later as the chain's latency. Only windows count in which a note, or a run of even ones, goes on:
beginnings and ends would show a reverb's tail as a louder soft note.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from chainsim.measure.loudness import LoudnessMeter, from_two_loudspeakers
from chainsim.units import Array, Audio

HOPS_PER_S = 10
STEADY_LU = 3.0
STEADY_HOPS = 2
"""A window counts if those 200 ms before and after it are within 3 LU of it."""
QUIETEST_LU = -20.0
"""Below the loudest window: less is no playing but a rest."""
LEAST_WINDOWS = 9


@dataclass(frozen=True)
class Dynamics:
    """Soft, medium and loud playing: the thirds of a take's steady windows, by loudness.

    Attributes
    ----------
    take_lufs : (soft, medium, loud)
        Median loudness of each third of the take, on two loudspeakers.
    offset_lu : (soft, medium, loud)
        How much louder each came out, median.
    """

    take_lufs: tuple[float, float, float]
    offset_lu: tuple[float, float, float]

    def raised(self, by_db: float) -> Dynamics:
        """The same with what came out so much louder."""
        soft, medium, loud = (lu + by_db for lu in self.offset_lu)
        return replace(self, offset_lu=(soft, medium, loud))


class MomentaryTrack:
    """Momentary loudness of a stream at `start` + k / 10 s, k = 1, 2, ..., as on two loudspeakers.

    Parameters
    ----------
    sample_rate_hz : float
    channels : int
    start : int
        Frame at which the grid begins.
    """

    def __init__(self, sample_rate_hz: float, channels: int, start: int = 0) -> None:
        self._meter = LoudnessMeter(sample_rate_hz, channels)
        self._hop = sample_rate_hz / HOPS_PER_S
        self._start, self._frames = start, 0
        self._channels = channels
        self._lufs: list[float] = []

    def add(self, x: Audio) -> None:
        """Take the next chunk, shape (channels, frames)."""
        first = 0
        while first < x.shape[1]:
            edge = self._start + math.floor((len(self._lufs) + 1) * self._hop)
            last = min(x.shape[1], first + edge - self._frames)
            self._meter.add(np.ascontiguousarray(x[:, first:last]))
            self._frames += last - first
            first = last
            if self._frames == edge:
                self._lufs.append(from_two_loudspeakers(self._meter.momentary_lufs, self._channels))

    @property
    def lufs(self) -> Array:
        """Minus infinity where nothing sounded."""
        return np.array(self._lufs)


def measure_dynamics(take_lufs: Array, out_lufs: Array) -> Dynamics | None:
    """Compare two momentary tracks, the second shifted by the chain's latency; None for too little steady playing."""
    count = min(take_lufs.size, out_lufs.size)
    take, out = take_lufs[:count], out_lufs[:count]
    heard = np.isfinite(take) & np.isfinite(out)
    if not heard.any():
        return None
    steady = heard & (take > take[heard].max() + QUIETEST_LU)
    level = np.where(np.isfinite(take), take, -1000.0)
    for hops in (-STEADY_HOPS, STEADY_HOPS):
        steady &= np.abs(np.roll(level, hops) - level) < STEADY_LU
    steady[:STEADY_HOPS] = steady[count - STEADY_HOPS :] = False
    windows = np.flatnonzero(steady)
    if windows.size < LEAST_WINDOWS:
        return None
    thirds = np.array_split(windows[np.argsort(take[windows], kind="stable")], 3)
    levels = [float(np.median(take[third])) for third in thirds]
    offsets = [float(np.median(out[third] - take[third])) for third in thirds]
    return Dynamics((levels[0], levels[1], levels[2]), (offsets[0], offsets[1], offsets[2]))
