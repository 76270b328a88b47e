"""Where in a take two sounds are apart: also while it is played, or only where it rests.

A distance is the largest of any block of time (`steps.py`), so a hiss before the first note may make all of it. To find
out, the second sound gets the first one's in the rests, at one loudness: what they are apart then is heard elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.measure.attacks import HELD_HOPS, HOP_MS, find_notes
from chainsim.measure.gaps import SHORTEST_REST_S, Gaps
from chainsim.measure.loudness import LoudnessMeter, from_two_loudspeakers
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.meter import SoundMeter
from chainsim.measure.sound_distance.steps import SoundDistance, sound_distance
from chainsim.units import Array, Audio

AUDIBLE_STEPS = 1.0
FADE_S = 0.005
HELD_S = HELD_HOPS * HOP_MS / 1000.0
"""By so much later than an abrupt end of a note it is found."""

PIECE_FRAMES = 1 << 16

Samples: TypeAlias = npt.NDArray[np.floating[Any]]
Spans: TypeAlias = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Rests:
    """Where a take is not played, in seconds.

    Attributes
    ----------
    before : tuple of (begin, end)
        Up to the first note, whatever breath or key sounds there; empty if it begins at once.
    all : tuple of (begin, end)
        That, and the rests between the notes.
    """

    before: Spans
    all: Spans


def rests_of(take: npt.ArrayLike, sample_rate_hz: float, gaps: Gaps | None = None) -> Rests:
    """Find where a take, shape (frames,) or (frames, channels), is not played.

    Parameters
    ----------
    take : ndarray
    sample_rate_hz : float
    gaps : Gaps, optional
        Of the take, where they are known.
    """
    notes = find_notes(take, sample_rate_hz, gaps)
    if not notes:
        return Rests((), ())
    lasts_s = np.asarray(take).shape[0] / sample_rate_hz
    begins, ends = [note.begin_s for note in notes[1:]], [note.end_s - HELD_S for note in notes]
    between = zip(ends, [*begins, lasts_s], strict=True)
    before = ((0.0, notes[0].begin_s),) if notes[0].begin_s > 2.0 * FADE_S else ()
    return Rests(before, (*before, *((a, b) for a, b in between if b - a >= SHORTEST_REST_S)))


@dataclass(frozen=True)
class Apart:
    """How far two sounds are apart, in steps, and where.

    Attributes
    ----------
    total : float
    playing : float
        While the take is played.
    only : str
        Where alone one hears it: "before the first note", "in the rests", "after the take", "in the rests and after
        the take"; empty if it is heard while the take is played too, or not at all.
    """

    total: float
    playing: float
    only: str


class Beside:
    """Tells of sounds of one take how far they are from one of them, and where; only a piece at a time is copied.

    Parameters
    ----------
    first : ndarray, shape (frames, channels)
        One or two channels; it may lie in a file.
    sample_rate_hz : float, at least 8000
    playing_frames : int
        Length of the take.
    rests : Rests
    latency_frames : int
        How many frames it is late.
    """

    def __init__(
        self, first: Samples, sample_rate_hz: float, playing_frames: int, rests: Rests, latency_frames: int = 0
    ) -> None:
        self._rate_hz, self._playing_frames, self._rests = sample_rate_hz, playing_frames, rests
        self._first = _Sound(first[latency_frames:], sample_rate_hz, first.shape[1])
        self._features = self._features_of(self._first, (piece for _, piece in self._first.pieces()))

    def apart(self, second: Samples, latency_frames: int = 0) -> Apart:
        """How far another sound is from it, shape (frames, channels), so many frames late."""
        channels, rests = max(second.shape[1], self._first.channels), self._rests
        sound = _Sound(second[latency_frames:], self._rate_hz, channels)
        whole = self._distance(sound, ())
        if whole.total < AUDIBLE_STEPS:
            return Apart(whole.total, _playing(whole), "")
        if not rests.all:
            return Apart(whole.total, _playing(whole), "after the take" if _playing(whole) < AUDIBLE_STEPS else "")
        played = self._distance(sound, rests.all)
        playing = min(_playing(played), _playing(whole))
        if playing >= AUDIBLE_STEPS:
            return Apart(whole.total, playing, "")
        if _playing(whole) < AUDIBLE_STEPS:
            return Apart(whole.total, playing, "after the take")
        if rests.before and self._distance(sound, rests.before).total < AUDIBLE_STEPS:
            return Apart(whole.total, playing, "before the first note")
        later = "" if played.tail < AUDIBLE_STEPS else " and after the take"
        return Apart(whole.total, playing, f"in the rests{later}")

    def _distance(self, second: _Sound, outside_s: Spans) -> SoundDistance:
        """Outside of spans of the take."""
        pieces = self._spliced(second, outside_s) if outside_s else (piece for _, piece in second.pieces())
        return sound_distance(self._features, self._features_of(second, pieces))

    def _spliced(self, second: _Sound, spans_s: Spans) -> Iterator[Audio]:
        """The second sound, but within the spans the first one, as loud."""
        first = self._first
        silent = -math.inf in (first.integrated_lufs, second.integrated_lufs)
        gain = 0.0 if silent else 10.0 ** ((second.on_both_sides_lufs - first.on_both_sides_lufs) / 20.0)
        for at, piece in second.pieces():
            share = self._share(spans_s, at, piece.shape[1])
            yield piece + share * (gain * first.piece(at, piece.shape[1]) - piece)

    def _share(self, spans_s: Spans, at: int, frames: int) -> Array:
        """1 within the spans, with ramps beside them, shape (frames,)."""
        n, share = at + np.arange(frames), np.zeros(frames)
        for begin_s, end_s in spans_s:
            begin, end = round(begin_s * self._rate_hz), round(end_s * self._rate_hz)
            outside = np.maximum(begin - n, n - end + 1)
            share = np.maximum(share, np.clip(1.0 - outside / (FADE_S * self._rate_hz), 0.0, 1.0))
        return share

    def _features_of(self, sound: _Sound, pieces: Iterable[Audio]) -> SoundFeatures:
        meter = SoundMeter(self._rate_hz, sound.channels, self._playing_frames, 0)
        for piece in pieces:
            meter.add(piece)
        return meter.result(sound.integrated_lufs)


class _Sound:
    """A sound in pieces, on so many channels, and how loud it is."""

    def __init__(self, samples: Samples, sample_rate_hz: float, channels: int) -> None:
        self._samples, self.channels = samples, channels
        meter = LoudnessMeter(sample_rate_hz, channels)
        for _, piece in self.pieces():
            meter.add(piece)
        self.integrated_lufs = meter.result().integrated_lufs

    @property
    def on_both_sides_lufs(self) -> float:
        """Of one channel, as if it played left and right."""
        return from_two_loudspeakers(self.integrated_lufs, self.channels)

    def pieces(self) -> Iterator[tuple[int, Audio]]:
        """The first frame of each, and the piece, shape (channels, frames)."""
        for at in range(0, len(self._samples), PIECE_FRAMES):
            yield at, self.piece(at, min(PIECE_FRAMES, len(self._samples) - at))

    def piece(self, at: int, frames: int) -> Audio:
        """So many frames from one on; silence after the end."""
        part = self._samples[at : at + frames]
        piece = np.zeros((self.channels, frames))
        piece[:, : part.shape[0]] = part.T
        return piece


def _playing(distance: SoundDistance) -> float:
    return max(distance.spectrum, distance.modulation)
