"""What is kept of a sound to tell how far it is from others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Levels = npt.NDArray[np.float16]
"""In dB: the steps of 16-bit floats are at most 0.06 dB up to 128 dB, and a step of hearing is 1 dB."""


@dataclass(frozen=True, eq=False)
class SoundFeatures:
    """What `SoundMeter` has found; levels are in dB against the common loudness.

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
    modulation : ndarray, shape (channels, windows, octaves, bands)
    width : ndarray, shape (blocks, bands) or None
        Level of half the channels' difference against half their sum; None for one channel.
    """

    sample_rate_hz: float
    channels: int
    playing_frames: int
    spectrum: Levels
    tail: Levels
    middle: Levels
    short: Levels
    modulation: Levels
    width: Levels | None

    def to_arrays(self) -> dict[str, npt.NDArray[Any]]:
        """As arrays that a file can keep."""
        arrays: dict[str, npt.NDArray[Any]] = {
            "sound": np.array([self.sample_rate_hz, self.channels, self.playing_frames], dtype=np.float64),
            "spectrum": self.spectrum,
            "tail": self.tail,
            "middle": self.middle,
            "short": self.short,
            "modulation": self.modulation,
        }
        if self.width is not None:
            arrays["width"] = self.width
        return arrays

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, npt.NDArray[Any]]) -> SoundFeatures:
        """The reverse of `to_arrays`."""
        rate_hz, channels, playing_frames = arrays["sound"]
        return cls(
            sample_rate_hz=float(rate_hz),
            channels=int(channels),
            playing_frames=int(playing_frames),
            spectrum=arrays["spectrum"],
            tail=arrays["tail"],
            middle=arrays["middle"],
            short=arrays["short"],
            modulation=arrays["modulation"],
            width=arrays.get("width"),
        )
