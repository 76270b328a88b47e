"""Spectra of a sound of any length: power of overlapping frames, their mean over the whole, and its centroid.

    A[k] = sqrt( mean over frames and channels of |X[k]|^2 ),  centroid = sum f[k] A[k] / sum A[k]             (1)

Frames are Hann-windowed, of the power of two nearest to 43 ms, every half frame, on the grid of the stream's own
samples. The first one reaches half before the stream and the last ones beyond it, so that all samples count alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from chainsim.errors import AudioError
from chainsim.measure.signals import check_chunk, check_rate
from chainsim.units import Array, Audio

FRAME_S = 0.043
FRAMES_AT_ONCE = 8


class FramePowers:
    """Cuts a stream of chunks into frames and gives the power of each, the channels' sum; any cuts give the same bits.

    Parameters
    ----------
    sample_rate_hz : float, at least 1000
    channels : int

    Attributes
    ----------
    size, hop : int
        Samples of a frame, and from one to the next.
    freq_hz : ndarray, shape (size // 2 + 1,)
    window : ndarray, shape (size,)
    """

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        check_rate(sample_rate_hz, "spectrum")
        self.channels = channels
        self.size = 1 << round(math.log2(FRAME_S * sample_rate_hz))
        self.hop = self.size // 2
        self.freq_hz: Array = np.arange(self.hop + 1, dtype=np.float64) * (sample_rate_hz / self.size)
        self.window: Array = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(self.size) / self.size)
        self._waiting = np.zeros((channels, self.hop))

    def add(self, x: Audio) -> Iterator[Array]:
        """Take the next chunk, shape (channels, frames); yield power spectra, shape (some, bins), as they are whole."""
        check_chunk(x, self.channels, "spectrum")
        joined = np.concatenate([self._waiting, x], axis=1)
        count = max(0, joined.shape[1] // self.hop - 1)
        self._waiting = joined[:, count * self.hop :].copy()
        return self._powers(joined, count)

    def rest(self) -> Iterator[Array]:
        """Yield those of the frames that have begun, the stream taken to end in silence; the state stays."""
        count = -(-self._waiting.shape[1] // self.hop)
        behind = (count + 1) * self.hop - self._waiting.shape[1]
        return self._powers(np.pad(self._waiting, ((0, 0), (0, behind))), count)

    def _powers(self, x: Audio, count: int) -> Iterator[Array]:
        if count == 0:
            return
        frames = np.lib.stride_tricks.sliding_window_view(x, self.size, axis=1)[:, :: self.hop][:, :count]
        for first in range(0, count, FRAMES_AT_ONCE):
            spectra = np.fft.rfft(frames[:, first : first + FRAMES_AT_ONCE] * self.window)
            yield np.sum(spectra.real**2 + spectra.imag**2, axis=0)


class SpectrumMeter:
    """Gathers the mean power of a stream of chunks; any cuts give the same bits, and memory does not grow.

    Parameters
    ----------
    sample_rate_hz : float, at least 1000
    channels : int
    """

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        self._frames = FramePowers(sample_rate_hz, channels)
        self.channels = channels
        self.freq_hz = self._frames.freq_hz
        self._power = np.zeros(self.freq_hz.size)
        self._count = 0

    def add(self, x: Audio) -> None:
        """Take the next chunk, shape (channels, frames), C-contiguous float64."""
        self._count = _gather(self._frames.add(x), self._power, self._count)

    def amplitude(self) -> Array:
        """A of equation (1), of what has been read so far, shape of `freq_hz`; AudioError if it was not finite."""
        power = self._power.copy()
        count = _gather(self._frames.rest(), power, self._count)
        if not np.isfinite(power).all():
            raise AudioError("spectrum: the sound holds a sample that is not finite")
        mean: Array = np.sqrt(power / (count * self.channels))
        return mean

    def result(self) -> float:
        """Centroid in Hz, equation (1); NaN for silence."""
        amplitude = self.amplitude()
        total = float(np.sum(amplitude))
        return float(np.sum(self.freq_hz * amplitude)) / total if total > 0.0 else math.nan


def _gather(spectra: Iterator[Array], power: Array, count: int) -> int:
    """Add spectra to `power` one by one, and to their count."""
    for some in spectra:
        for one in some:
            power += one
        count += len(some)
    return count
