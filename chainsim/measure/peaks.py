"""True peak, sample peak, clipped runs, DC, rms and crest factor.

The true peak is that of `true_peak.py`: of the sound between its samples.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.kernel import kernel
from chainsim.measure import true_peak
from chainsim.measure.signals import channel_count, check_chunk, check_rate, pieces
from chainsim.measure.true_peak import ROUNDING, SPAN, highest_between, may_exceed
from chainsim.units import Array, Audio, gain_to_db

BLOCK = 64
CLIP_LEVEL = 32_767.0 / 32_768.0
"""The highest value of a 16-bit file: what sits there or above counts as clipped."""
CLIPPED_NEIGHBOURS = 2
LARGEST, TRUE, SUM, SQUARES = 0, 1, 2, 3
CLIPPED, RUNS, RUN, LONGEST_RUN = 0, 1, 2, 3


@dataclass(frozen=True)
class Peaks:
    """What a `PeakMeter` has read; levels are the highest over the channels, minus infinity for silence."""

    true_peak_dbtp: float
    """Never under the sample peak."""
    sample_peak_dbfs: float
    clipped_samples: int
    """Samples at the clip level or above it."""
    clipped_runs: int
    """Runs of at least two of them in one channel; one alone may just be a normalised peak."""
    longest_clip_samples: int
    dc: tuple[float, ...]
    """Mean of each channel; 1 is full scale."""
    rms_dbfs: float
    """Over all channels, as amplitude: a full-scale sine reads -3.01."""
    crest_db: float
    """Sample peak over rms; 0 for silence."""


@kernel
def gather_peaks(
    x: Audio, taps: Array, counts: npt.NDArray[np.int64], reach: float, bend: float, clip_level: float,
    loud: npt.NDArray[np.int64], sums: Array, runs: npt.NDArray[np.int64], scratch: Array,
) -> None:  # fmt: skip
    """Take x (channels, SPAN - 1 + frames), the frames after the last SPAN - 1 of the call before.

    taps (stages, most), counts (stages,): equation (1); reach, bend: the bounds. What cannot lift the true peak is
    skipped without changing it: loud (channels,) counts down the samples since one that could. sums (channels, 4), runs
    (channels, 4); scratch (4, ...) holds what lies between the samples of a block.
    """
    for c in range(x.shape[0]):
        wait = loud[c]
        largest, true, total, squares = sums[c, LARGEST], sums[c, TRUE], sums[c, SUM], sums[c, SQUARES]
        for first in range(SPAN - 1, x.shape[1], BLOCK):
            block = x[c, first : first + BLOCK]
            needed = False
            for i in range(block.shape[0]):
                v = block[i]
                a = abs(v)
                total += v
                squares += v * v
                if a > largest:
                    largest = a
                    true = max(true, a)
                if a >= clip_level:
                    runs[c, CLIPPED] += 1
                    runs[c, RUN] += 1
                    if runs[c, RUN] == CLIPPED_NEIGHBOURS:
                        runs[c, RUNS] += 1
                    runs[c, LONGEST_RUN] = max(runs[c, LONGEST_RUN], runs[c, RUN])
                else:
                    runs[c, RUN] = 0
                if a * reach > true:
                    wait = SPAN
                if wait > 0:
                    wait -= 1
                    needed = True
            if needed:
                window = x[c, first - SPAN + 1 : first + block.shape[0]]
                if may_exceed(window, bend, true * (1.0 - ROUNDING), scratch):
                    true = max(true, highest_between(window, taps, counts, scratch))
        loud[c] = wait
        sums[c, LARGEST], sums[c, TRUE], sums[c, SUM], sums[c, SQUARES] = largest, true, total, squares


class PeakMeter:
    """Measures peaks of a stream of chunks; any cuts give the same bits.

    Parameters
    ----------
    sample_rate_hz : float, at least 1000
        Sample rate.
    channels : int
        Number of channels.
    clip_level : float
        What counts as clipped, from there on: the highest value that the file can hold, or 1 for floats.

    References
    ----------
    .. [1] ITU-R BS.1770-5 (11/2023), Annex 2.
    """

    def __init__(self, sample_rate_hz: float, channels: int, clip_level: float = CLIP_LEVEL) -> None:
        check_rate(sample_rate_hz, "peaks")
        self.channels = channels
        factor = true_peak.oversampling(sample_rate_hz)
        stages = true_peak.stage_taps(factor)
        self._counts = np.array([h.size for h in stages], dtype=np.int64)
        self._taps = np.array([np.pad(h, (0, stages[0].size - h.size)) for h in stages])
        self._reach, self._bend = true_peak.bounds(true_peak.interpolator(factor))
        self._clip_level = float(clip_level)
        self._before = np.zeros((channels, SPAN - 1))
        self._loud = np.zeros(channels, np.int64)
        self._sums, self._runs = np.zeros((channels, 4)), np.zeros((channels, 4), np.int64)
        self._frames = 0

    def add(self, x: Audio) -> None:
        """Take the next chunk, shape (channels, frames), C-contiguous float64."""
        check_chunk(x, self.channels, "peaks")
        self._frames += x.shape[1]
        self._before = self._gather(x, self._loud, self._sums, self._runs)

    def result(self) -> Peaks:
        """Return what has been read so far, the stream taken to end in silence; AudioError if it was not finite."""
        if not np.isfinite(self._sums).all():
            raise AudioError("peaks: the sound holds a sample that is not finite")
        after = self._sums.copy()
        self._gather(np.zeros((self.channels, SPAN)), self._loud.copy(), after, self._runs.copy())
        count = max(self._frames, 1)
        peak = float(np.max(self._sums[:, LARGEST]))
        rms = math.sqrt(float(np.sum(self._sums[:, SQUARES])) / (count * self.channels))
        return Peaks(
            true_peak_dbtp=gain_to_db(float(np.max(after[:, TRUE]))),
            sample_peak_dbfs=gain_to_db(peak),
            clipped_samples=int(np.sum(self._runs[:, CLIPPED])),
            clipped_runs=int(np.sum(self._runs[:, RUNS])),
            longest_clip_samples=int(np.max(self._runs[:, LONGEST_RUN])),
            dc=tuple(float(total / count) for total in self._sums[:, SUM]),
            rms_dbfs=gain_to_db(rms),
            crest_db=gain_to_db(peak / rms) if rms > 0.0 else 0.0,
        )

    def _gather(self, x: Audio, loud: npt.NDArray[np.int64], sums: Array, runs: npt.NDArray[np.int64]) -> Audio:
        """Run the kernel over x and return the SPAN - 1 frames that the next call needs."""
        joined = np.concatenate([self._before, x], axis=1)
        gather_peaks(
            joined, self._taps, self._counts, self._reach, self._bend, self._clip_level, loud, sums, runs,
            np.empty((4, (SPAN + BLOCK) << (self._counts.size - 1))),
        )  # fmt: skip
        return joined[:, joined.shape[1] - SPAN + 1 :].copy()


def measure_peaks(audio: npt.ArrayLike, sample_rate_hz: float) -> Peaks:
    """Peaks of a whole sound, shape (frames, channels) or (frames,); AudioError if a sample is not finite."""
    meter = PeakMeter(sample_rate_hz, channel_count(audio))
    for piece in pieces(audio):
        meter.add(piece)
    return meter.result()
