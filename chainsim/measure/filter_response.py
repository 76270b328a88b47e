"""Frequency response of anything, and where it is no filter: two broadband sounds of interleaved third octaves.

Each sound is a sum of sines of random phase, periodic in one transform, with equal energy per octave. The first
holds every second third-octave band, the other one those between. Once the memory of what went before is gone, with
X and Y the transforms of one period in and out,

    gain(band) = sum |Y|^2 / sum |X|^2         over the band's bins, from the sound that holds the band           (1)
    stray(band) = sum |Y'|^2 / sum |Y|^2       over the same bins, Y' from the sound that does not hold it         (2)

A filter, and one whose settings sway a little, leaves energy in the band it came in; distortion, noise and other
notes do not: where (2) comes near 1, (1) is no response, and where most bands have none, what is left has come from
bands of the same sound and is none either. The level of a single bin counts as the loudest channel's,
that of a band as the channels' mean. After the odd and even detection lines of Pintelon and Schoukens, "System
Identification", 2nd ed., 2012, 4.3, with bands in place of lines so that slow modulation is let pass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.measure.third_octaves import Band, third_octaves
from chainsim.units import Array, Audio, db_to_gain

PERIOD_S = 1.3
"""About one transform: its bins lie 0.73 Hz apart at 48 kHz."""
SEED = 17
STRAY_LIMIT_DB = -6.0
"""From a quarter of the band's own energy on, what is in a band says nothing of a response."""
FINE_LIMIT_DB = -15.0
"""From so much on, a single bin may hold a tone that did not come from it: then the band's mean stands for each."""
SMALLEST_GAIN = 1e-15
ROUNDING = 1e-25


@dataclass(frozen=True)
class BandSounds:
    """The two sounds, shape (2, frames) each one period, and the bands that each of them holds."""

    sample_rate_hz: float
    periods: Audio
    bands: tuple[Band, ...]

    @property
    def frames(self) -> int:
        """Length of a period."""
        return int(self.periods.shape[1])

    def bins(self, band: Band) -> slice:
        """Bins of one band in the transform of a period."""
        low, high = (edge * self.frames / self.sample_rate_hz for edge in band.edges_hz)
        return slice(math.ceil(low), math.ceil(high))

    def holder(self, band: Band) -> int:
        """Which of the two sounds holds a band."""
        return band.number % 2


@dataclass(frozen=True)
class FilterResponse:
    """What comes out for what goes in, by frequency.

    Attributes
    ----------
    level_dbfs : float
        Root mean square of the sound it was measured with.
    bands : tuple of Band
    gain_db : ndarray, shape (bands,)
        Energy out over energy in, mean of the channels; NaN where it is no filter.
    stray_db : ndarray, shape (bands,)
        Energy that came from other bands, relative to the band's own; minus infinity for a filter.
    freq_hz, fine_db : ndarray, shape (bins,)
        The gain of the loudest channel bin by bin, or the band's where much strayed; NaN where it is no filter.
    whole_gain_db : float
        All energy out over all energy in, whatever it was made of.
    """

    level_dbfs: float
    bands: tuple[Band, ...]
    gain_db: Array
    stray_db: Array
    freq_hz: Array
    fine_db: Array
    whole_gain_db: float

    @property
    def is_fine(self) -> npt.NDArray[np.bool_]:
        """Which bins (bins,) have a gain of their own, not their band's."""
        return ~(self._by_bin(self.stray_db) > FINE_LIMIT_DB) & ~np.isnan(self.fine_db)

    def _by_bin(self, of_band: Array) -> Array:
        uppers = [band.edges_hz[1] for band in self.bands[:-1]]
        found: Array = of_band[np.searchsorted(uppers, self.freq_hz, side="right")]
        return found

    def largest_gain(
        self, low_hz: float = 50.0, high_hz: float = 16_000.0, most_stray_db: float = STRAY_LIMIT_DB
    ) -> tuple[float, float]:
        """Largest fine gain in dB and its frequency, between two frequencies; NaN where nothing is known.

        Bands in which more strayed count with their own gain, as a whole.
        """
        known = (self.freq_hz >= low_hz) & (self.freq_hz <= high_hz) & ~np.isnan(self.fine_db)
        if not known.any():
            return math.nan, math.nan
        gain_db = np.where(self._by_bin(self.stray_db) <= most_stray_db, self.fine_db, self._by_bin(self.gain_db))
        at = int(np.argmax(np.where(known, np.round(gain_db, 3), -math.inf)))
        freq_hz = self.freq_hz if gain_db[at] == self.fine_db[at] else self._by_bin(self._centres_hz)
        return float(gain_db[at]), float(freq_hz[at])

    @property
    def _centres_hz(self) -> Array:
        return np.array([band.centre_hz for band in self.bands])


def band_sounds(sample_rate_hz: float, level_dbfs: float) -> BandSounds:
    """Make the two sounds, each with a root mean square of `level_dbfs`; a full-scale square has 0 dBFS."""
    frames = 1 << round(math.log2(PERIOD_S * sample_rate_hz))
    made = BandSounds(sample_rate_hz, np.zeros((2, frames)), third_octaves(sample_rate_hz))
    random = np.random.default_rng(SEED)
    spectra = np.zeros((2, frames // 2 + 1), dtype=np.complex128)
    for band in made.bands:
        bins = made.bins(band)
        turns = random.random(bins.stop - bins.start)
        spectra[made.holder(band), bins] = np.exp(2j * np.pi * turns) / np.sqrt(np.arange(bins.start, bins.stop))
    sounds = np.fft.irfft(spectra, frames)
    made.periods[:] = sounds * (db_to_gain(level_dbfs) / np.sqrt(np.mean(sounds**2, axis=1, keepdims=True)))
    return made


def filter_response(sounds: BandSounds, heard: Sequence[Audio], level_dbfs: float) -> FilterResponse:
    """Compare what came out, one settled period (channels, frames) for each of the two sounds, with what went in."""
    power_in = np.abs(np.fft.rfft(sounds.periods)) ** 2
    power_out = [np.abs(np.fft.rfft(y)) ** 2 for y in heard]
    count = len(sounds.bands)
    gain_db, stray_db = np.empty(count), np.empty(count)
    freqs, fines = [], []
    for i, band in enumerate(sounds.bands):
        bins, own = sounds.bins(band), sounds.holder(band)
        passed, fed = power_out[own][:, bins], power_in[own, bins]
        energy = float(np.mean(np.sum(passed, axis=1)))
        strayed = float(np.mean(np.sum(power_out[1 - own][:, bins], axis=1)))
        silent = energy <= SMALLEST_GAIN**2 * float(np.sum(fed))
        gain_db[i] = -math.inf if silent else 10.0 * math.log10(energy / float(np.sum(fed)))  # (1)
        rounding = silent or strayed <= ROUNDING * energy
        stray_db[i] = -math.inf if rounding else 10.0 * math.log10(strayed / energy)  # (2)
        fine = 10.0 * np.log10(np.maximum(np.max(passed, axis=0) / fed, SMALLEST_GAIN**2))
        if stray_db[i] > STRAY_LIMIT_DB:
            gain_db[i] = math.nan
        if stray_db[i] > FINE_LIMIT_DB:
            fine[:] = gain_db[i]
        freqs.append(np.arange(bins.start, bins.stop) * sounds.sample_rate_hz / sounds.frames)
        fines.append(fine)
    fine_db = np.concatenate(fines)
    if np.sum(np.isnan(gain_db)) > count / 2:
        gain_db[:] = math.nan
        fine_db[:] = math.nan
    out, fed_in = sum(float(np.mean(np.sum(p, axis=1))) for p in power_out), float(np.sum(power_in))
    whole_db = 10.0 * math.log10(max(out / fed_in, SMALLEST_GAIN**2))
    return FilterResponse(level_dbfs, sounds.bands, gain_db, stray_db, np.concatenate(freqs), fine_db, whole_db)
