"""Conversions between what users write (dB, ms, cents) and what kernels take (gains, samples, ratios)."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
Counts: TypeAlias = npt.NDArray[np.int64]
"""Whole numbers that a kernel reads or keeps: counts of samples, places in a ring."""
Audio: TypeAlias = npt.NDArray[np.float64]
"""Sound inside the engine: shape (channels, frames), C-contiguous."""

NEPERS_PER_DB = math.log(10.0) / 20.0
"""Natural logarithm of the amplitude ratio of 1 dB."""


def db_to_gain(level_db: float) -> float:
    """Amplitude ratio of a level in dB; minus infinity gives 0."""
    return 0.0 if level_db == -math.inf else 10.0 ** (level_db / 20.0)


def gain_to_db(gain: float) -> float:
    """Level in dB of an amplitude ratio; 0 gives minus infinity."""
    return -math.inf if gain == 0.0 else 20.0 * math.log10(abs(gain))


def ms_to_samples(time_ms: float, sample_rate_hz: float) -> float:
    """Length in samples, fractional, of a time in milliseconds."""
    return time_ms * sample_rate_hz / 1000.0


def samples_to_ms(samples: float, sample_rate_hz: float) -> float:
    """Time in milliseconds of a length in samples."""
    return samples * 1000.0 / sample_rate_hz


def cents_to_ratio(cents: float) -> float:
    """Frequency ratio of an interval in cents."""
    return float(2.0 ** (cents / 1200.0))


def one_pole_coefficient(time_s: float, sample_rate_hz: float) -> float:
    """Share a = exp(-1/(tau fs)) that a one-pole smoother keeps each sample; tau is the time to 1 - 1/e."""
    return math.exp(-1.0 / (time_s * sample_rate_hz)) if time_s > 0.0 else 0.0
