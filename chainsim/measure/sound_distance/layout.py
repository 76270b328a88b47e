"""Features of one take's sounds laid out as rows of equal length, so that one kernel compares any two."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from chainsim.errors import AudioError
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.width import WIDTH_OF_ONE_DB
from chainsim.units import Array, Counts

SPECTRUM, MODULATION, TAIL = 0, 1, 2
SPECTRUM_DB, MIDDLE_DB, SHORT_DB = 1.0, 2.5, 2.5
"""Limens. 1 dB in all bands is that of excitation (see `steps.py`), and about that of level; in short frames, where
levels stray by themselves, 2.5 dB on average: two draws of a noise 25 dB under the sound stay under it."""
PITCH_DB = 1.5
"""A steady tone moved by 4 cents; notes of melodies with their own vibrato by some 10, or a vibrato of 20 added."""
WIDTH_DB = 3.0
MODULATION_DB = 2.0
TAIL_DB = 1.0
"""As the limen of C80 in ISO 3382-1; decay times 5 % apart, the limen there, come to about as much late in the tail."""

FRAMES_AT_ONCE = 4
"""Of a block, summed side by side: one long loop is faster than short ones."""


@dataclass(frozen=True)
class Layout:
    """How rows are made of the features of one take's sounds.

    Attributes
    ----------
    sample_rate_hz : float
    playing_frames : int
        Both as all of the sounds have them.
    channels : int
        The most that any of them has.
    sections : ndarray, shape (sections, 5)
        Of each: where it begins, its frames, bands and blocks, its term.
    limens : ndarray, shape (sections,)
        In dB.
    """

    TERMS: ClassVar[int] = 3

    sample_rate_hz: float
    playing_frames: int
    channels: int
    sections: Counts
    limens: Array

    @property
    def size(self) -> int:
        """Values of a row."""
        return int(self.sections[-1, 0] + self.sections[-1, 1] * self.sections[-1, 2])

    def scratch(self) -> Array:
        """What the kernel works in."""
        return np.zeros(FRAMES_AT_ONCE * int(np.max(self.sections[:, 2])))

    def row(self, sound: SoundFeatures) -> Array:
        """The levels of one sound, shape (size,).

        Raises
        ------
        AudioError
            If it is of another take.
        """
        if (sound.sample_rate_hz, sound.playing_frames) != (self.sample_rate_hz, self.playing_frames):
            raise AudioError(
                f"sound distance: {sound.playing_frames} frames of playing at {sound.sample_rate_hz:g} Hz beside "
                f"{self.playing_frames} frames at {self.sample_rate_hz:g} Hz, allowed sounds of one take"
            )
        parts = (sound.spectrum, sound.middle, sound.short, sound.pitch, sound.modulation, sound.tail)
        levels = [part[c % sound.channels].ravel() for part in parts for c in range(self.channels)]
        if self.channels == 2:
            alone = np.full(sound.spectrum[0].size, WIDTH_OF_ONE_DB, dtype=sound.spectrum.dtype)
            levels.append(alone if sound.width is None else sound.width.ravel())
        return np.concatenate(levels, dtype=np.float64)


def layout_of(sound: SoundFeatures, channels: int) -> Layout:
    """The layout of rows for sounds of the same take as `sound`, of up to so many channels."""
    blocks, bands = sound.spectrum.shape[1:]
    short_blocks = min(blocks + 1, sound.middle.shape[1])
    windows = sound.modulation.shape[1] * sound.modulation.shape[2]
    tail_blocks = sound.tail.shape[1]
    shapes = [
        (blocks, bands, blocks, SPECTRUM, SPECTRUM_DB),
        (*sound.middle.shape[1:], short_blocks, SPECTRUM, MIDDLE_DB),
        (*sound.short.shape[1:], short_blocks, SPECTRUM, SHORT_DB),
        (*sound.pitch.shape[1:], sound.pitch.shape[1], SPECTRUM, PITCH_DB),
        (windows, sound.modulation.shape[3], windows, MODULATION, MODULATION_DB),
        (tail_blocks, bands, tail_blocks, TAIL, TAIL_DB),
    ]
    shapes = [shape for shape in shapes for _ in range(channels)]
    if channels == 2:
        shapes.append((blocks, bands, blocks, SPECTRUM, WIDTH_DB))
    starts = np.cumsum([0, *(frames * bands for frames, bands, *_ in shapes)])[:-1]
    return Layout(
        sample_rate_hz=sound.sample_rate_hz,
        playing_frames=sound.playing_frames,
        channels=channels,
        sections=np.array([(start, *shape[:4]) for start, shape in zip(starts, shapes, strict=True)], dtype=np.int64),
        limens=np.array([limen for *_, limen in shapes]),
    )
