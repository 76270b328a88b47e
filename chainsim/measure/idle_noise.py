"""What comes out when nothing goes in: noise from 20 Hz to 20 kHz, plain and A-weighted, and DC.

    A(f) = 12194^2 f^4 / ((f^2 + 20.6^2) sqrt((f^2 + 107.7^2)(f^2 + 737.9^2)) (f^2 + 12194^2)),  +2.00 dB        (1)

Levels are 20 log10 of the root mean square, of the loudest channel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.units import Array, Audio

LOW_HZ, HIGH_HZ = 20.0, 20_000.0
SILENCE_DBFS = -300.0
"""Less is rounding, and counts as silence."""


@dataclass(frozen=True)
class IdleNoise:
    """Levels in dBFS, minus infinity for silence."""

    rms_dbfs: float
    a_weighted_dbfs: float
    dc_dbfs: float


def a_weighting(freq_hz: Array) -> Array:
    """Gain of the A-weighting at each frequency, 1 at 1 kHz: equation (1), IEC 61672-1:2013, annex E."""
    f2 = np.square(freq_hz)
    slopes = np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2))
    curve: Array = 10.0 ** (2.0 / 20.0) * 12194.0**2 * f2**2 / ((f2 + 20.6**2) * slopes * (f2 + 12194.0**2))
    return curve


def measure_idle_noise(y: Audio, sample_rate_hz: float) -> IdleNoise:
    """Noise of an output (channels, frames) for digital silence."""
    freq_hz: Array = np.arange(y.shape[1] // 2 + 1, dtype=np.float64) * (sample_rate_hz / y.shape[1])
    heard = (freq_hz >= LOW_HZ) & (freq_hz <= HIGH_HZ)
    dc = np.mean(y, axis=1, keepdims=True)
    # By Parseval: each bin of a real signal but the first stands for two.
    power = 2.0 * np.abs(np.fft.rfft(y - dc)[:, heard]) ** 2 / y.shape[1] ** 2
    return IdleNoise(
        rms_dbfs=_level(np.sum(power, axis=1)),
        a_weighted_dbfs=_level(np.sum(power * a_weighting(freq_hz[heard]) ** 2, axis=1)),
        dc_dbfs=_level(dc[:, 0] ** 2),
    )


def _level(power: Array) -> float:
    most = float(np.max(power))
    level = 10.0 * math.log10(most) if most > 0.0 else -math.inf
    return level if level > SILENCE_DBFS else -math.inf
