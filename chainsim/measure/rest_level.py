"""How loud a sound is in the rests of the take it was made of: noise, and what still rings there.

Rests are the take's own, so that what a chain makes of them, hiss, an echo or silence, is never taken for a note or for
no rest; what rings on after the take is none. Each is read from its middle on: by then the note before it is over, and
most of what rings has died away. Levels are rms over blocks of 50 ms, as in `gaps.py`, and the middle one (the median)
is told, so that neither the quietest rest nor a click counts alone. Of a steady noise it is the noise's rms; of a take
without a chain it is what `measure_gaps` calls its noise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from chainsim.measure.gaps import BlockLevels
from chainsim.measure.signals import check_chunk
from chainsim.units import Audio


class RestMeter:
    """Reads a sound in chunks; any cuts give the same bits. It keeps two numbers every 25 ms.

    Parameters
    ----------
    sample_rate_hz : float, at least 1000
    channels : int
    latency_frames : int
        How late the sound is against its take.
    """

    def __init__(self, sample_rate_hz: float, channels: int, latency_frames: int = 0) -> None:
        self.channels = channels
        self._levels = BlockLevels(sample_rate_hz, channels)
        self._to_skip = latency_frames

    def add(self, y: Audio) -> None:
        """Take the next chunk, shape (channels, frames), C-contiguous float64; AudioError if it is not finite."""
        check_chunk(y, self.channels, "rests")
        skipped = min(self._to_skip, y.shape[1])
        self._to_skip -= skipped
        if skipped < y.shape[1]:
            self._levels.add(y[:, skipped:])

    def result(self, rests_s: Sequence[tuple[float, float]]) -> float:
        """Middle level in dBFS of the second halves of rests.

        Parameters
        ----------
        rests_s : sequence of (begin, end)
            In the take: `Gaps.noise_s`.

        Returns
        -------
        float
            Minus infinity where most is digital silence, NaN if there is no rest.
        """
        rms_db, _ = self._levels.result()
        hop_s = self._levels.hop_s
        heard = np.zeros(rms_db.size, dtype=np.bool_)
        for begin_s, end_s in rests_s:
            last = round(end_s / hop_s) - 1
            heard[min(math.ceil((begin_s + end_s) / 2.0 / hop_s), last - 1) : last] = True
        found = np.sort(rms_db[heard])
        # Of two middle ones the upper: between silence and a sound there is no middle.
        return float(found[found.size // 2]) if found.size else math.nan
