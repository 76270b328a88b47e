"""Gathers, in chunks, what is kept of a sound to tell how far it is from others."""

from __future__ import annotations

import copy
import math

import numpy as np

from chainsim.errors import AudioError
from chainsim.measure.loudness import from_two_loudspeakers
from chainsim.measure.signals import check_chunk, check_rate
from chainsim.measure.sound_distance.features import Levels, SoundFeatures
from chainsim.measure.sound_distance.frames import BandFrames
from chainsim.measure.sound_distance.modulation import modulation_levels
from chainsim.measure.sound_distance.pitch_scale import LEAST_POWER
from chainsim.measure.sound_distance.plan import BANDS, Plan, part_count, pitch_part_count
from chainsim.measure.sound_distance.scale import least_power
from chainsim.measure.sound_distance.width import width_levels
from chainsim.units import Array, Audio

LONG = 0
"""Which frames give the tail and the width, too."""


class SoundMeter:
    """Reads a sound in chunks; any cuts give the same bits.

    Parameters
    ----------
    sample_rate_hz : float, at least 8000
    channels : int, 1 or 2
        One channel counts as the same sound in left and right.
    playing_frames : int
        Length of the take; what comes later is the tail. Only the first `COMPARED_S` seconds of the playing count, and
        `COMPARED_TAIL_S` of the tail; memory is bounded by that.
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
        self._rate_hz = float(sample_rate_hz)
        self._to_skip = latency_frames
        self._plan = plan = Plan(self._rate_hz, playing_frames)
        self._cutters = [
            BandFrames(sample_rate_hz, channels, size, bands, sides=k == LONG)
            for k, (size, bands) in enumerate(zip(plan.sizes, BANDS, strict=True))
        ]
        rows = [2 * channels if channels == 2 and k == LONG else channels for k in range(len(BANDS))]
        self._playing = [
            _Kept(r, 0, count, bands.count) for r, count, bands in zip(rows, plan.played, BANDS, strict=True)
        ]
        self._tail = _Kept(channels, *plan.tail, BANDS[LONG].count)
        self._wanted = [sum(plan.tail), *plan.played[1:]]
        self._counts = [0 for _ in BANDS]
        self._finite = True

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
        own_db = from_two_loudspeakers(integrated_lufs, self.channels)
        gain = 0.0 if own_db == -math.inf else 10.0 ** (-own_db / 10.0)
        powers = [gain * kept.powers.astype(np.float64) for kept in (*ended._playing, ended._tail)]
        if not (self._finite and all(np.isfinite(power).all() for power in powers)):
            raise AudioError("sound distance: the sound holds a sample that is not finite, or over 10^18")
        long, middle, short, longest, tail = powers
        least = [least_power(bands.count) for bands in BANDS[:3]]
        width = width_levels(long[2], long[3], least[0]) if self.channels == 2 else None
        return SoundFeatures(
            sample_rate_hz=self._rate_hz,
            channels=self.channels,
            playing_frames=self._plan.playing_frames,
            spectrum=_kept(_blocks(_db(long[: self.channels] + least[0]), part_count(long.shape[1]))),
            tail=_kept(_tail_blocks(_db(tail + least[0]))),
            middle=_kept(_db(middle + least[1])),
            short=_kept(_db(short + least[2])),
            pitch=_kept(_blocks(_db(longest + LEAST_POWER), pitch_part_count(longest.shape[1]))),
            modulation=_kept(modulation_levels(middle, least[1], self._rate_hz / self._cutters[1].hop)),
            width=None if width is None else _kept(_blocks(width[np.newaxis], part_count(len(width)))[0]),
        )

    def _cut(self, y: Audio) -> None:
        self._finite &= bool(np.isfinite(y).all())
        for k, cutter in enumerate(self._cutters):
            if self._counts[k] < self._wanted[k]:
                powers = cutter.add(y)
                self._playing[k].add(powers, self._counts[k])
                if k == LONG:
                    self._tail.add(powers, self._counts[k])
                self._counts[k] += powers.shape[1]

    def _missing_frames(self) -> int:
        """How much silence makes all wanted frames whole."""
        each = zip(self._wanted, self._counts, self._cutters, strict=True)
        return max(0, *((wanted - count + 1) * cutter.hop for wanted, count, cutter in each))


class _Kept:
    """Powers of `count` frames from the one numbered `first`, of the first rows.

    32 bits are enough: they tell levels to 1e-6 dB, and features do to some 0.06 dB.
    """

    def __init__(self, rows: int, first: int, count: int, bands: int) -> None:
        self.powers = np.zeros((rows, count, bands), dtype=np.float32)
        self._first = first

    def add(self, powers: Array, number: int) -> None:
        """Take what belongs here of powers of shape (rows, frames, bands) whose first frame has this number."""
        rows, count, _ = self.powers.shape
        begin, end = max(self._first, number), min(self._first + count, number + powers.shape[1])
        if begin < end:
            with np.errstate(over="ignore"):
                kept = powers[:rows, begin - number : end - number]
                self.powers[:, begin - self._first : end - self._first] = kept


def _db(power: Array) -> Array:
    level_db: Array = 10.0 * np.log10(power)
    return level_db


def _blocks(levels: Array, parts: int) -> Array:
    """Means over blocks, each two parts and half over the next, shape (rows, blocks, bands)."""
    sums, counts = _sums(levels, parts)
    if len(counts) > 1:
        sums, counts = sums[:, :-1] + sums[:, 1:], counts[:-1] + counts[1:]
    means: Array = sums / counts
    return means


def _tail_blocks(levels: Array) -> Array:
    """Means over half as long blocks, one after the other."""
    sums, counts = _sums(levels, part_count(levels.shape[1]))
    means: Array = sums / counts
    return means


def _sums(levels: Array, parts: int) -> tuple[Array, Array]:
    """Sums over so many parts, shape (rows, parts, bands), and frames of each, shape (parts, 1)."""
    frames = levels.shape[1]
    edges = np.arange(parts + 1) * frames // parts
    counts = np.diff(edges).astype(np.float64)[:, np.newaxis]
    return np.add.reduceat(levels, edges[:-1], axis=1), counts


def _kept(levels: Array) -> Levels:
    return levels.astype(np.float16)
