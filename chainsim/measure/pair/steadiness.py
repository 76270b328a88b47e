"""Which taps are echoes of the box, and which come of the notes: the former stand the same in every part of a take.

A box that distorts or moves leaves a response full of taps at periods of the notes played. Another part of the take has
other notes, and there those taps stand elsewhere. So a tap is believed if, relative to the loudest one, it has about
the same gain in each part: a tap of the box does, but for noise.
"""

from __future__ import annotations

import numpy as np

from chainsim.measure.pair.alignment import shifted
from chainsim.measure.pair.deconvolution import Tap, deconvolve
from chainsim.units import Array

PARTS = 6
SHORTEST_PART_S = 0.3
LEAST_PARTS = 3
LEAST_ENERGY = 0.05
"""Of the middle part's: parts with less hold rests."""
REACH_S = 0.03
NEAR_SAMPLES = 2
STANDS_OUT = 0.8
MOST_PARTS = 0.6
MOST_VARIATION = 0.3
"""Standard deviation of the gains over their mean. Taps of boxes
have 0.02 to 0.25 in takes of ten seconds with noise 20 dB under them, nearly all of those of notes 0.4 and more."""
MOST_OFF = 2.0
"""Factor between the mean of the parts and the gain in the whole: one part may have made all of a tap."""


class Steadiness:
    """The response in parts of a take.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
    sample_rate_hz : float
    loudest : Tap
        Of the response between the whole recordings.
    """

    def __init__(self, dry: Array, wet: Array, sample_rate_hz: float, loudest: Tap) -> None:
        self._dry, self._wet, self._rate_hz = dry, wet, sample_rate_hz
        self._reach = round(REACH_S * sample_rate_hz)
        self._responses: dict[int, list[Array]] = {}
        count = min(PARTS, int(dry.size / (SHORTEST_PART_S * sample_rate_hz)))
        size = dry.size // max(count, 1)
        spans = [(k * size, (k + 1) * size) for k in range(count)]
        energies = [float(np.sum(np.square(dry[begin:end]))) for begin, end in spans]
        least = LEAST_ENERGY * float(np.median(energies)) if energies else 0.0
        self._spans = [span for span, energy in zip(spans, energies, strict=True) if energy > least]
        self._loudest_gain = loudest.gain
        self._loudest = self._gains(loudest)

    @property
    def can_tell(self) -> bool:
        """Whether the take is long enough to be cut into parts."""
        return len(self._spans) >= LEAST_PARTS

    @property
    def loudest_is_steady(self) -> bool:
        """Whether the loudest tap itself stands out in most parts, to one side; its size may go with the level."""
        if not self.can_tell:
            return True
        parts = next(iter(self._responses.values()))
        most = np.array([float(np.max(np.abs(part))) for part in parts])
        stands = self._loudest * np.sign(np.sum(self._loudest)) > STANDS_OUT * most
        return float(np.mean(stands)) > MOST_PARTS

    def stands(self, tap: Tap) -> bool:
        """Whether a tap has the same gain in every part, relative to the loudest one; if that can't be told, True."""
        if not self.can_tell:
            return True
        if not np.all(self._loudest != 0.0):
            return False
        gains = self._gains(tap) / self._loudest
        mean = float(np.mean(gains))
        of_whole = mean * self._loudest_gain / tap.gain
        return 1.0 / MOST_OFF < of_whole < MOST_OFF and float(np.std(gains)) < MOST_VARIATION * abs(mean)

    def _gains(self, tap: Tap) -> Array:
        """Gain of a tap in each part."""
        lag = round(tap.lag)
        centre = next((c for c in self._responses if abs(lag - c) < self._reach - NEAR_SAMPLES), lag)
        if centre not in self._responses:
            self._responses[centre] = [self._response(begin, end, centre) for begin, end in self._spans]
        at = lag - centre + self._reach
        near = np.array([part[at - NEAR_SAMPLES : at + NEAR_SAMPLES + 1] for part in self._responses[centre]])
        gains: Array = near[:, np.argmax(np.abs(near.sum(axis=0)))] if near.size else np.zeros(0)
        return gains

    def _response(self, begin: int, end: int, lag: int) -> Array:
        """Response of one part, REACH_S to either side of a lag."""
        wet = shifted(self._wet, begin + lag - self._reach, end - begin + 2 * self._reach)
        return deconvolve(self._dry[begin:end], wet, self._rate_hz).around(0, 0, 2 * self._reach + 1)
