"""What is kept of a sound to tell how far it is from others."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.measure.sound_distance.plan import COMPARED_S, Plan

Levels = npt.NDArray[np.float16]
"""In dB: the steps of 16-bit floats are at most 0.06 dB up to 128 dB, and a step of hearing is 1 dB."""


@dataclass(frozen=True, eq=False)
class SoundFeatures:
    """What `SoundMeter` has found; levels are in dB against the common loudness, and finite.

    Attributes
    ----------
    sample_rate_hz : float
    channels : int
    playing_frames : int
        Length of the take that was played.
    spectrum : ndarray, shape (channels, blocks, bands)
        Mean levels over blocks while it plays, in narrow bands.
    tail : ndarray, shape (channels, blocks, bands)
        The same after the take has ended.
    middle, short : ndarray, shape (channels, frames, bands)
        Levels of short frames while it plays, in wider bands.
    pitch : ndarray, shape (channels, blocks, bands)
        Mean levels over blocks while it plays, of half semitones.
    modulation : ndarray, shape (channels, windows, octaves, bands)
    width : ndarray, shape (blocks, bands) or None
        Level of half the channels' difference against half their sum; None for one channel.

    Raises
    ------
    ValueError
        If these are no features of a sound: what is read from a file may be anything.
    """

    sample_rate_hz: float
    channels: int
    playing_frames: int
    spectrum: Levels
    tail: Levels
    middle: Levels
    short: Levels
    pitch: Levels
    modulation: Levels
    width: Levels | None

    def __post_init__(self) -> None:
        rate_hz, channels, playing_frames = self.sample_rate_hz, self.channels, self.playing_frames
        if channels not in (1, 2) or playing_frames < 1 or not 0.0 < rate_hz < math.inf:
            raise ValueError(
                f"sound features: {channels} channels, {playing_frames} frames of playing at {rate_hz:g} Hz, "
                "allowed 1 or 2 channels and a frame or more"
            )
        shapes = Plan(rate_hz, playing_frames).shapes(channels)
        levels = self._levels()
        if levels.keys() != shapes.keys():
            raise ValueError(f"sound features: {', '.join(levels)}, wanted {', '.join(shapes)}")
        for name, shape in shapes.items():
            if levels[name].dtype != np.float16 or levels[name].shape != shape:
                found = f"{levels[name].dtype}, shape {levels[name].shape}"
                raise ValueError(f"sound features: {name} of {found}, wanted float16, shape {shape}")
            if not np.isfinite(levels[name]).all():
                raise ValueError(f"sound features: {name} holds a level that is not finite")

    @property
    def whole(self) -> bool:
        """Whether all of the playing is compared: no more than `COMPARED_S` seconds."""
        return self.playing_frames <= COMPARED_S * self.sample_rate_hz

    def to_arrays(self) -> dict[str, npt.NDArray[Any]]:
        """As arrays that a file can keep."""
        sound = np.array([self.sample_rate_hz, self.channels, self.playing_frames], dtype=np.float64)
        return {"sound": sound, **self._levels()}

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, npt.NDArray[Any]]) -> SoundFeatures:
        """The reverse of `to_arrays`; ValueError if these are not such arrays."""
        levels = dict(arrays)
        sound = levels.pop("sound", None)
        if sound is None or sound.dtype != np.float64 or sound.shape != (3,) or not np.isfinite(sound).all():
            raise ValueError(f"sound features: sound {sound!r:.60}, wanted its rate, channels and frames of playing")
        if missing := set(_LEVELS) - {"width"} - set(levels):
            raise ValueError(f"sound features: no {', '.join(sorted(missing))}")
        if unknown := set(levels) - set(_LEVELS):
            raise ValueError(f"sound features: {', '.join(sorted(unknown))}, wanted only {', '.join(_LEVELS)}")
        rate_hz, channels, playing_frames = sound.tolist()
        if not (channels.is_integer() and playing_frames.is_integer()):
            raise ValueError(f"sound features: {channels} channels, {playing_frames} frames, wanted whole numbers")
        width = levels.pop("width", None)
        return cls(rate_hz, int(channels), int(playing_frames), **levels, width=width)

    def _levels(self) -> dict[str, Levels]:
        levels = {name: getattr(self, name) for name in _LEVELS}
        return {name: level for name, level in levels.items() if level is not None}


_LEVELS = ("spectrum", "tail", "middle", "short", "pitch", "modulation", "width")
