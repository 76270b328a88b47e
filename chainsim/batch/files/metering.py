"""What comes out of a chain, metered as it comes: loudness, peaks, and how much louder it is than the take."""

from __future__ import annotations

import math

import numpy as np

from chainsim.measure.dynamics import Dynamics, MomentaryTrack, measure_dynamics
from chainsim.measure.loudness import LoudnessMeter, from_two_loudspeakers
from chainsim.measure.peaks import PeakMeter, Peaks
from chainsim.units import Array, Audio

MUCH_LOUDER_LU = 6.0


class TakeMeter:
    """Meters a take as it is read, each frame once and in order: shape (channels, frames)."""

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        self.channels = channels
        self._loudness = LoudnessMeter(sample_rate_hz, channels)
        self._momentary = MomentaryTrack(sample_rate_hz, channels)

    def add(self, x: Audio) -> None:
        """Take the next chunk."""
        self._loudness.add(x)
        self._momentary.add(x)

    @property
    def integrated_lufs(self) -> float:
        """Loudness of all of it."""
        return self._loudness.result().integrated_lufs

    @property
    def momentary_lufs(self) -> Array:
        """Every 100 ms, as on two loudspeakers."""
        return self._momentary.lufs


class OutputMeter:
    """Meters one output, span by span.

    Parameters
    ----------
    sample_rate_hz : float
    channels : int
    playing_frames : int
        Frames in which the take sounds; what rings after them does not count against the take.
    latency_frames : int
        By which the sound is later than the take.
    """

    def __init__(self, sample_rate_hz: float, channels: int, playing_frames: int, latency_frames: int = 0) -> None:
        self._loudness = LoudnessMeter(sample_rate_hz, channels)
        self._peaks = PeakMeter(sample_rate_hz, channels)
        self._momentary = MomentaryTrack(sample_rate_hz, channels, latency_frames)
        self.channels = channels
        self._playing_frames = playing_frames
        self._playing_lufs = -math.inf

    def add(self, n0: int, y: Audio) -> None:
        """Take the next span, shape (channels, frames), which begins at frame n0."""
        self._peaks.add(y)
        self._momentary.add(y)
        before = self._playing_frames - n0
        if 0 < before <= y.shape[1]:
            self._loudness.add(np.ascontiguousarray(y[:, :before]))
            self._playing_lufs = self._loudness.result().integrated_lufs
            self._loudness.add(np.ascontiguousarray(y[:, before:]))
        else:
            self._loudness.add(y)

    @property
    def integrated_lufs(self) -> float:
        """Loudness of all that came out."""
        return self._loudness.result().integrated_lufs

    def raised_lufs(self, by_db: float) -> float:
        """Loudness of all that came out, with a gain."""
        return self._loudness.raised_lufs(by_db)

    def peaks(self) -> Peaks:
        """Peaks of all that came out."""
        return self._peaks.result()

    def louder_by_lu(self, take_lufs: float, take_channels: int) -> float:
        """How much louder it is than the take while that sounds, both on two loudspeakers; NaN if either is silent."""
        own_lufs = from_two_loudspeakers(self._playing_lufs, self.channels)
        louder = own_lufs - from_two_loudspeakers(take_lufs, take_channels)
        return louder + 0.0 if math.isfinite(louder) else math.nan

    def dynamics(self, take: TakeMeter) -> Dynamics | None:
        """What became of the take's soft and loud playing; None for too little steady playing."""
        return measure_dynamics(take.momentary_lufs, self._momentary.lufs)


def cautions(true_peak_dbtp: float, louder_by_lu: float = math.nan) -> list[str]:
    """What to mind before listening to something so loud."""
    found = []
    if true_peak_dbtp > 0.0:
        found.append(f"the output peaks at {true_peak_dbtp:+.1f} dBTP, over full scale: lower a level")
    if louder_by_lu > MUCH_LOUDER_LU:
        found.append(f"the output is {louder_by_lu:.0f} LU louder than the take: start with the volume down")
    return found
