"""Whole audio files in memory, for what is written into a page."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import numpy.typing as npt

from chainsim.audio.encoding import Quantizer
from chainsim.units import Array

MP3_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_BLOCK_FRAMES = 1 << 16


def flac_bytes(x: Array, sample_rate_hz: int) -> bytes:
    """A FLAC file of 24 bit, with the codes that the project's own files have.

    Parameters
    ----------
    x : ndarray, shape (frames, channels)
        Within -1 ... 1.
    sample_rate_hz : int
    """
    quantize = Quantizer("pcm24")
    return _encoded(x, sample_rate_hz, "FLAC", "PCM_24", lambda part: quantize(part) << (32 - quantize.bits))


def mp3_bytes(x: Array, sample_rate_hz: int) -> bytes:
    """An MP3 file at one of `MP3_RATES_HZ`; x as for `flac_bytes`."""
    return _encoded(x, sample_rate_hz, "MP3", "MPEG_LAYER_III", lambda part: part)


def _encoded(
    x: Array, sample_rate_hz: int, container: str, subtype: str, codes: Callable[[Array], npt.NDArray[Any]]
) -> bytes:
    import soundfile

    file = io.BytesIO()
    with soundfile.SoundFile(file, "w", sample_rate_hz, x.shape[1], format=container, subtype=subtype) as sound:
        for first in range(0, len(x), _BLOCK_FRAMES):
            sound.write(codes(x[first : first + _BLOCK_FRAMES]))
    return file.getvalue()
