"""How a sound goes on in time, for a picture of it: loudness, extremes, spectrum, at a width that does not grow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.measure.frame_powers import FramePowers
from chainsim.measure.loudness import LoudnessMeter
from chainsim.units import Array, Audio

COLUMNS = 1200
READINGS_PER_S = 10
BANDS = 160
LOWEST_BAND_HZ = 40.0


@dataclass(frozen=True)
class Course:
    """What a `CourseMeter` has seen; levels are minus infinity for silence.

    Attributes
    ----------
    time_s, momentary_lufs, short_term_lufs : ndarray, shape (readings,)
        Every 100 ms, of the 400 ms and the 3 s before.
    lowest, highest : ndarray, shape (columns,)
        Of all channels.
    column_edges_s : ndarray, shape (columns + 1,)
    band_edges_hz : ndarray, shape (bands + 1,)
    band_dbfs : ndarray, shape (bands, spectra)
        Mean power of the bins in each band; a full-scale sine in the middle of a bin reads 0 in it.
    spectrum_edges_s : ndarray, shape (spectra + 1,)
    """

    time_s: Array
    momentary_lufs: Array
    short_term_lufs: Array
    lowest: Array
    highest: Array
    column_edges_s: Array
    band_edges_hz: Array
    band_dbfs: Array
    spectrum_edges_s: Array


class CourseMeter:
    """Follows a stream of chunks whose length is known.

    Parameters
    ----------
    sample_rate_hz : float, at least 4000
    channels : int
    frames : int
        Of the whole stream.
    """

    def __init__(self, sample_rate_hz: float, channels: int, frames: int) -> None:
        self.channels = channels
        self._rate_hz = sample_rate_hz
        self._done = 0
        self._loudness = LoudnessMeter(sample_rate_hz, channels)
        self._readings: list[tuple[float, float]] = []
        self._column = max(1, -(-frames // COLUMNS))
        columns = -(-frames // self._column)
        self._lowest, self._highest = np.zeros(columns), np.zeros(columns)
        self._powers = FramePowers(sample_rate_hz, channels)
        self._together = max(1, -(-(frames // self._powers.hop + 2) // COLUMNS))
        highest_hz = sample_rate_hz / 2.0
        self._edges_hz: Array = np.geomspace(LOWEST_BAND_HZ, highest_hz, BANDS + 1)
        self._first_bins = np.minimum(np.searchsorted(self._powers.freq_hz, self._edges_hz[:-1]), self._powers.hop)
        self._pending: list[Array] = []
        self._spectra: list[Array] = []

    def add(self, x: Audio) -> None:
        """Take the next chunk, shape (channels, frames), C-contiguous float64."""
        self._see_extremes(x)
        for first, last in self._cuts(x.shape[1]):
            self._loudness.add(np.ascontiguousarray(x[:, first:last]))
            if self._done + last == self._reading_at(len(self._readings)):
                self._readings.append((self._loudness.momentary_lufs, self._loudness.short_term_lufs))
        for some in self._powers.add(x):
            self._see_spectra(some, self._spectra, self._pending)
        self._done += x.shape[1]

    def result(self) -> Course:
        """Return what has been seen so far, the stream taken to end in silence."""
        readings = np.array(self._readings).reshape(-1, 2)
        spectra, pending = [*self._spectra], [*self._pending]
        for some in self._powers.rest():
            self._see_spectra(some, spectra, pending)
        if pending:
            spectra.append(np.mean(pending, axis=0))
        # A sine of amplitude 1 in the middle of a bin has |X| = sum(w) / 2 there.
        scale = (2.0 / float(np.sum(self._powers.window))) ** 2 / self.channels
        power = np.array(spectra).reshape(-1, BANDS).T * scale
        with np.errstate(divide="ignore"):
            band_dbfs = 10.0 * np.log10(power)
        # The middle of the first frame is the beginning of the sound.
        edges = np.arange(len(spectra) + 1, dtype=np.float64) * self._together - 0.5
        return Course(
            time_s=np.arange(1, len(readings) + 1) / READINGS_PER_S,
            momentary_lufs=readings[:, 0],
            short_term_lufs=readings[:, 1],
            lowest=self._lowest,
            highest=self._highest,
            column_edges_s=np.arange(self._lowest.size + 1, dtype=np.float64) * (self._column / self._rate_hz),
            band_edges_hz=self._edges_hz,
            band_dbfs=band_dbfs,
            spectrum_edges_s=edges * (self._powers.hop / self._rate_hz),
        )

    def _reading_at(self, reading: int) -> int:
        return math.floor((reading + 1) * self._rate_hz / READINGS_PER_S)

    def _cuts(self, frames: int) -> list[tuple[int, int]]:
        """The chunk's parts, each ending where a reading is due or with the chunk."""
        due = [self._reading_at(len(self._readings)) - self._done]
        while due[-1] < frames:
            due.append(self._reading_at(len(self._readings) + len(due)) - self._done)
        ends = [*due[:-1], min(due[-1], frames)]
        return list(zip([0, *ends[:-1]], ends, strict=True))

    def _see_extremes(self, x: Audio) -> None:
        if x.shape[1] == 0:
            return
        inside = np.arange(self._done // self._column + 1, (self._done + x.shape[1] - 1) // self._column + 1)
        starts = np.concatenate([[0], inside * self._column - self._done])
        at = self._done // self._column + np.arange(starts.size)
        self._lowest[at] = np.minimum(self._lowest[at], np.minimum.reduceat(x.min(axis=0), starts))
        self._highest[at] = np.maximum(self._highest[at], np.maximum.reduceat(x.max(axis=0), starts))

    def _see_spectra(self, some: Array, spectra: list[Array], pending: list[Array]) -> None:
        """Take frames into `pending` and, when there are enough of them for a column, their mean into `spectra`."""
        sums = np.add.reduceat(some, self._first_bins, axis=1)
        widths = np.diff(np.append(self._first_bins, some.shape[1]))
        for bands in sums / np.maximum(widths, 1):
            pending.append(bands)
            if len(pending) == self._together:
                spectra.append(np.mean(pending, axis=0))
                pending.clear()
