"""Gathers, in chunks, what is kept of a sound to tell how far it is from others."""

from __future__ import annotations

import copy
import math

import numpy as np

from chainsim.errors import AudioError
from chainsim.measure.signals import check_chunk, check_rate
from chainsim.measure.sound_distance.features import Levels, SoundFeatures
from chainsim.measure.sound_distance.frames import BandFrames, frame_size
from chainsim.measure.sound_distance.modulation import modulation_levels
from chainsim.measure.sound_distance.scale import least_power
from chainsim.measure.sound_distance.width import width_levels
from chainsim.units import Array, Audio

FRAMES_S = (0.085, 0.021, 0.011)
"""Long frames tell partials apart, short ones hear when things happen; shorter yet, they would follow the swings of a
low note, whose phases do not matter."""
BANDS = (46, 23, 8)
PART_FRAMES = 6
"""Long frames of a quarter of a second. Two such parts are a block: a note that comes 10 ms late, about the limen,
moves its means by some 1 dB. Of a tail, which may be short, each is one."""
PLAYING_S, TAIL_S = 60.0, 10.0
"""What is compared at most."""
ONE_AS_TWO_DB = 10.0 * math.log10(2.0)


class SoundMeter:
    """Reads a sound in chunks; any cuts give the same bits.

    Parameters
    ----------
    sample_rate_hz : float, at least 8000
    channels : int, 1 or 2
        One channel counts as the same sound in left and right.
    playing_frames : int
        Length of the take; what comes later is the tail. The first 60 s of the playing count, and 10 s of the tail.
    latency_frames : int
        So many frames are left out at the beginning.

    Raises
    ------
    AudioError
        If one of these is not so.
    """

    def __init__(self, sample_rate_hz: float, channels: int, playing_frames: int, latency_frames: int) -> None:
        check_rate(sample_rate_hz, "sound distance", least_hz=8000.0)
        if channels not in (1, 2):
            raise AudioError(f"sound distance: {channels} channels, allowed 1 or 2")
        if playing_frames < 1 or latency_frames < 0:
            raise AudioError(
                f"sound distance: {playing_frames} frames of playing after {latency_frames} frames of latency, "
                "allowed 1 or more after 0 or more"
            )
        self.channels = channels
        self._rate_hz, self._playing_frames = float(sample_rate_hz), playing_frames
        self._to_skip = latency_frames
        long, *shorter = (frame_size(s, sample_rate_hz) for s in FRAMES_S)
        self._cutters = [
            BandFrames(sample_rate_hz, channels, long, BANDS[0], sides=True),
            *(BandFrames(sample_rate_hz, channels, s, b) for s, b in zip(shorter, BANDS[1:], strict=True)),
        ]
        played = min(playing_frames, round(PLAYING_S * sample_rate_hz))
        self._played = [-(-played // cutter.hop) for cutter in self._cutters]
        hop = self._cutters[0].hop
        self._tail_begins = -(-playing_frames // hop)
        self._wanted = [self._tail_begins + math.ceil(TAIL_S * sample_rate_hz / hop), *self._played[1:]]
        self._powers: list[list[Array]] = [[] for _ in self._cutters]
        self._counts = [0 for _ in self._cutters]

    def add(self, y: Audio) -> None:
        """Take the next chunk, shape (channels, frames), C-contiguous float64."""
        check_chunk(y, self.channels, "sound distance")
        skipped = min(self._to_skip, y.shape[1])
        self._to_skip -= skipped
        if skipped < y.shape[1]:
            self._cut(np.ascontiguousarray(y[:, skipped:]) if skipped else y)

    def result(self, integrated_lufs: float) -> SoundFeatures:
        """What has been read so far, the stream taken to end in silence.

        Parameters
        ----------
        integrated_lufs : float
            Loudness of the whole sound as `LoudnessMeter` reads it, by which it is brought to the common one; minus
            infinity, of what is under -70 LUFS everywhere, makes it count as silence.

        Raises
        ------
        AudioError
            If a sample was not finite.
        """
        ended = copy.deepcopy(self)
        ended._cut(np.zeros((self.channels, ended._missing_frames())))
        own_db = integrated_lufs + (ONE_AS_TWO_DB if self.channels == 1 else 0.0)
        gain = 0.0 if own_db == -math.inf else 10.0 ** (-own_db / 10.0)
        powers = [gain * np.concatenate(parts, axis=1) for parts in ended._powers]
        if not all(np.isfinite(power).all() for power in powers):
            raise AudioError("sound distance: the sound holds a sample that is not finite")
        long, middle, short = powers
        least = [least_power(bands) for bands in BANDS]
        levels, played = _db(long[: self.channels] + least[0]), self._played[0]
        width = width_levels(long[2, :played], long[3, :played], least[0]) if self.channels == 2 else None
        return SoundFeatures(
            sample_rate_hz=self._rate_hz,
            channels=self.channels,
            playing_frames=self._playing_frames,
            spectrum=_kept(_blocks(levels[:, :played])),
            tail=_kept(_tail_blocks(levels[:, self._tail_begins :])),
            middle=_kept(_db(middle + least[1])),
            short=_kept(_db(short + least[2])),
            modulation=_kept(modulation_levels(middle, least[1], self._rate_hz / self._cutters[1].hop)),
            width=None if width is None else _kept(_blocks(width[np.newaxis])[0]),
        )

    def _cut(self, y: Audio) -> None:
        for k, cutter in enumerate(self._cutters):
            open_frames = self._wanted[k] - self._counts[k]
            if open_frames > 0:
                powers = cutter.add(y)[:, :open_frames]
                self._counts[k] += powers.shape[1]
                self._powers[k].append(powers)

    def _missing_frames(self) -> int:
        """How much silence makes all wanted frames whole."""
        each = zip(self._wanted, self._counts, self._cutters, strict=True)
        return max((wanted - count + 1) * cutter.hop for wanted, count, cutter in each)


def _db(power: Array) -> Array:
    level_db: Array = 10.0 * np.log10(power)
    return level_db


def _blocks(levels: Array) -> Array:
    """Means over blocks, each half over the next, shape (rows, blocks, bands)."""
    sums, counts = _sums(levels)
    if len(counts) > 1:
        sums, counts = sums[:, :-1] + sums[:, 1:], counts[:-1] + counts[1:]
    means: Array = sums / counts
    return means


def _tail_blocks(levels: Array) -> Array:
    """Means over half as long blocks, one after the other."""
    sums, counts = _sums(levels)
    means: Array = sums / counts
    return means


def _sums(levels: Array) -> tuple[Array, Array]:
    """Sums over parts of about `PART_FRAMES`, shape (rows, parts, bands), and frames of each, shape (parts, 1)."""
    frames = levels.shape[1]
    parts = max(1, round(frames / PART_FRAMES))
    edges = np.arange(parts + 1) * frames // parts
    counts = np.diff(edges).astype(np.float64)[:, np.newaxis]
    return np.add.reduceat(levels, edges[:-1], axis=1), counts


def _kept(levels: Array) -> Levels:
    return levels.astype(np.float16)
