"""How far two sounds in memory are apart."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.measure.loudness import measure_loudness
from chainsim.measure.signals import channel_count, pieces
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.meter import SoundMeter
from chainsim.measure.sound_distance.steps import SoundDistance, sound_distance
from chainsim.units import Array

GATING_BLOCK_S = 0.4
"""Of the loudness; a shorter sound is taken to go on in silence."""


def measure_distance(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    sample_rate_hz: float,
    *,
    playing_frames: int | None = None,
    latency_frames: tuple[int, int] = (0, 0),
) -> SoundDistance:
    """How far two sounds in memory are apart.

    Parameters
    ----------
    x, y : ndarray, shape (frames,) or (frames, channels)
        One or two channels; at least -70 LUFS loud, or it counts as silence.
    sample_rate_hz : float, at least 8000
    playing_frames : int, optional
        Length of the take they were made of; what is beyond counts as tail. Without it, the shorter one's length.
    latency_frames : (int, int)
        How many frames each is late, so that they are aligned.

    Returns
    -------
    SoundDistance

    Raises
    ------
    AudioError
        If a sample is not finite, or the shape, the rate or the lengths are not such.
    """
    sounds = (np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    late = latency_frames
    if playing_frames is None:
        playing_frames = min(s.shape[0] - n if s.ndim else 0 for s, n in zip(sounds, late, strict=True))
    first, second = (_features(s, sample_rate_hz, playing_frames, n) for s, n in zip(sounds, late, strict=True))
    return sound_distance(first, second)


def _features(audio: Array, sample_rate_hz: float, playing_frames: int, latency_frames: int) -> SoundFeatures:
    meter = SoundMeter(sample_rate_hz, channel_count(audio), playing_frames, latency_frames)
    for piece in pieces(audio):
        meter.add(piece)
    aligned = audio[latency_frames:]
    short_by = max(0, math.ceil(GATING_BLOCK_S * sample_rate_hz) + 1 - aligned.shape[0])
    heard = np.pad(aligned, [(0, short_by), *[(0, 0)] * (audio.ndim - 1)])
    return meter.result(measure_loudness(heard, sample_rate_hz).integrated_lufs)
