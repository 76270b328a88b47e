"""Small audio files, good and bad, for the tests of this folder."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import numpy.typing as npt

RATE_HZ = 44_100


def horn_like(frames: int = 4410, channels: int = 2, seed: int = 3) -> npt.NDArray[np.float64]:
    """A decaying tone with a little noise, shape (frames, channels), that 16-bit codes hold exactly."""
    random = np.random.default_rng(seed)
    time_s = np.arange(frames)[:, None] / RATE_HZ
    x = 0.5 * np.sin(2 * np.pi * 233.08 * time_s) * np.exp(-3 * time_s) + 0.01 * random.standard_normal(
        (frames, channels)
    )
    return np.rint(x * 32768) / 32768


def loud_then_soft(seconds: int = 8) -> npt.NDArray[np.float64]:
    """Noise for 2 s, then a steady tone of peak 0.2, shape (frames,): what makes a compressed stream vary its rate."""
    time_s = np.arange(seconds * RATE_HZ) / RATE_HZ
    noise = 0.2 * np.random.default_rng(5).uniform(-1, 1, time_s.size)
    return np.where(time_s < 2, noise, 0.2 * np.sin(2 * np.pi * 220 * time_s))


def raw_wav(samples: npt.NDArray[np.float32], rate_hz: int = RATE_HZ) -> bytes:
    """A float WAV written by hand: 44 bytes of header, then the samples, shape (frames, channels)."""
    channels = samples.shape[1]
    data = samples.astype("<f4").tobytes()
    fmt = struct.pack("<HHIIHH", 3, channels, rate_hz, rate_hz * 4 * channels, 4 * channels, 32)
    return (
        struct.pack("<4sI4s4sI", b"RIFF", 36 + len(data), b"WAVE", b"fmt ", 16)
        + fmt
        + struct.pack("<4sI", b"data", len(data))
        + data
    )


def put(path: Path, content: bytes) -> Path:
    """Write bytes and return the path."""
    path.write_bytes(content)
    return path
