"""The door of every measure: arrays as files hold them, checked and turned into the engine's layout."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.units import Array, Audio

PIECE_FRAMES = 1 << 17


def pieces(audio: npt.ArrayLike, frames: int = PIECE_FRAMES) -> Iterator[Audio]:
    """Yield `audio`, shape (frames, channels) or (frames,), in chunks (channels, frames), C-contiguous float64."""
    whole = _two_columns(np.asarray(audio))
    for first in range(0, whole.shape[0], frames):
        # A copy even where none is needed: a kernel compiles anew for an array that cannot be written to.
        yield np.array(whole[first : first + frames].T, dtype=np.float64, order="C")


def channel_count(audio: npt.ArrayLike) -> int:
    """Number of channels of `audio`, shape (frames, channels) or (frames,)."""
    return int(_two_columns(np.asarray(audio)).shape[1])


def one_channel(signal: npt.ArrayLike, what: str) -> Array:
    """Return `signal`, shape (frames,), as float64; AudioError if it has another shape, no frames or is not finite."""
    x: Array = np.ascontiguousarray(signal, dtype=np.float64)
    if x.ndim != 1 or x.size == 0:
        raise AudioError(f"{what}: shape {x.shape}, wanted one channel: (frames,) with at least one frame")
    if not np.isfinite(x).all():
        raise AudioError(f"{what}: holds a value that is not finite, at frame {int(np.argmin(np.isfinite(x)))}")
    return x


def check_rate(sample_rate_hz: float, what: str, least_hz: float = 1000.0) -> None:
    """AudioError unless the rate is a finite number of at least `least_hz`."""
    if not least_hz <= sample_rate_hz < float("inf"):
        raise AudioError(f"{what}: sample rate {sample_rate_hz:g} Hz, wanted {least_hz:g} Hz or more")


def check_chunk(x: Any, channels: int, what: str) -> None:
    """AudioError unless `x` is a C-contiguous float64 array of shape (channels, frames)."""
    if x.ndim != 2 or x.shape[0] != channels:
        raise AudioError(f"{what}: chunk of shape {x.shape}, wanted ({channels}, frames)")
    if x.dtype != np.float64 or not x.flags.c_contiguous:
        raise AudioError(f"{what}: chunk of type {x.dtype}, wanted C-contiguous float64")


def _two_columns(audio: npt.NDArray[Any]) -> npt.NDArray[Any]:
    if audio.ndim == 1:
        return audio[:, np.newaxis]
    if audio.ndim != 2 or audio.shape[1] == 0:
        raise AudioError(f"audio of shape {audio.shape}, wanted (frames, channels) or (frames,)")
    return audio
