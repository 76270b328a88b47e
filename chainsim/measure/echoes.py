"""Echoes in an impulse response: when they come, how loud, and whether they repeat at a fixed spacing.

Energy in windows of 2 ms; a peak counts that stands 15 dB out of what lies between it and any louder one. A dense
reverb's fluctuations are smaller, and its first reflections come closer than 30 ms. Peaks that hold little of what
follows the direct sound are a room's, and no echoes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.units import Array

WINDOW_S = 0.002
LEAST_DISTANCE_S = 0.030
STANDS_OUT_DB = 15.0
FAINTEST_DB = -40.0
MOST = 16
LEAST_SHARE = 0.3
SAME_SPACING = 0.01
"""Spacings count as one within this share of it, or 0.2 ms."""


@dataclass(frozen=True)
class Echoes:
    """Echoes after the direct sound.

    Attributes
    ----------
    times_ms : tuple of float
        After the direct sound, or after the first echo if there is none.
    levels_db : tuple of float
        Relative to the direct sound, or to the first echo.
    spacing_ms : float
        Of echoes that repeat evenly; NaN if they do not.
    fall_db : float
        How much quieter each is than the one before; NaN for a single echo.
    share : float
        Of the energy that follows the direct sound; near 1 there is nothing but echoes.
    """

    times_ms: tuple[float, ...]
    levels_db: tuple[float, ...]
    spacing_ms: float
    fall_db: float
    share: float


def find_echoes(power: Array, sample_rate_hz: float) -> Echoes | None:
    """Find echoes in a squared impulse response, shape (frames,); None if there are none."""
    from scipy.signal import find_peaks

    window = 2 * round(0.5 * WINDOW_S * sample_rate_hz) + 1
    energy = np.convolve(power, np.ones(window), "same")
    top = float(np.max(energy, initial=0.0))
    if top <= 0.0:
        return None
    level = 10.0 * np.log10(np.maximum(energy / top, 10.0 ** ((FAINTEST_DB - STANDS_OUT_DB) / 10.0)))
    padded = np.concatenate([[level.min()], level, [level.min()]])
    distance = max(1, round(LEAST_DISTANCE_S * sample_rate_hz))
    peaks = find_peaks(padded, height=FAINTEST_DB, prominence=STANDS_OUT_DB, distance=distance, plateau_size=1)[0] - 1
    half = window // 2
    if peaks.size < 2:
        return None
    share = float(np.sum(energy[peaks[1:]]) / np.sum(power[peaks[0] + half + 1 :]))
    if share < LEAST_SHARE:
        return None
    centred = np.array([_centre(power, int(p), half) for p in peaks[:MOST]])
    times = 1000.0 * (centred - centred[0]) / sample_rate_hz
    levels = 10.0 * np.log10(energy[peaks[:MOST]] / energy[peaks[0]])
    spacing, fall = _regular(times, levels)
    return Echoes(tuple(map(float, times[1:])), tuple(map(float, levels[1:])), spacing, fall, share)


def _centre(power: Array, peak: int, half: int) -> float:
    """Where the energy around a peak lies."""
    first = max(0, peak - half)
    part = power[first : peak + half + 1]
    return first + float(np.sum(np.arange(part.size) * part) / np.sum(part))


def _regular(times_ms: Array, levels_db: Array) -> tuple[float, float]:
    steps = np.diff(times_ms)
    spacing = float(np.median(steps))
    if np.max(np.abs(steps - spacing)) > max(SAME_SPACING * spacing, 0.2):
        return math.nan, math.nan
    return spacing, float(-np.median(np.diff(levels_db[1:]))) if levels_db.size > 2 else math.nan
