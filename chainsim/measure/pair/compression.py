"""The static curve of a compressor, from how the gain of a box goes with the level of the dry sound.

Frames in which the level has stood still for a while tell the gain that belongs to it. Over bins of level, their
median gain is fitted with threshold T, ratio R and knee W of

    g(L) = g0 - (1 - 1/R) s(L - T),   s(d) = 0,  (d + W/2)^2 / (2 W),  d    (below, in and over the knee)         (1)

Source: D. Giannoulis, M. Massberg, J. D. Reiss, JAES 60(6), 2012, 399-408.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.measure.pair.figure import NORMAL_95, Figure
from chainsim.measure.pair.gain_track import HOP_S, GainTrack
from chainsim.units import Array

STEADY_S = 0.1
STEADY_DB = 2.0
BIN_DB = 2.0
LEAST_FRAMES = 5
LEAST_BINS = 4
LEAST_FALL_DB = 2.0
LEAST_EXPLAINED = 0.8
MOST_RATIO = 100.0
KNEES_DB = (0.0, 6.0, 12.0)


@dataclass(frozen=True)
class Compression:
    """Static curve; figures missing where loud notes are not turned down more than soft ones.

    Attributes
    ----------
    threshold_db : Figure
        Peak level (dBFS) of the dry sound; missing, too, where it lies under the softest notes.
    ratio : Figure
    knee_db : float
        The one of KNEES_DB that fits best.
    soft_gain_db : float
        Gain below the threshold: make-up.
    curve_db : tuple of (level, gain)
        What was seen, in dBFS and dB, also where it is no compressor's.
    """

    threshold_db: Figure
    ratio: Figure
    knee_db: float
    soft_gain_db: float
    curve_db: tuple[tuple[float, float], ...]


def measure_compression(track: GainTrack) -> Compression:
    """Static curve from the gain track."""
    levels, gains, deviations = _curve(track)
    seen = tuple((float(level), float(gain)) for level, gain in zip(levels, gains, strict=True))
    none = Compression(Figure.missing(), Figure.missing(), math.nan, math.nan, seen)
    if levels.size < LEAST_BINS or gains[0] - gains[-1] < LEAST_FALL_DB:
        return none
    fits = [_fitted(levels, gains, deviations, knee) for knee in KNEES_DB]
    best = int(np.argmin([loss for _, _, loss in fits]))
    values, covariance, loss = fits[best]
    whole = float(np.sum(((gains - np.average(gains, weights=deviations**-2.0)) / deviations) ** 2))
    threshold, slope, soft_gain = values
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0) * max(loss / max(levels.size - 3, 1), 1.0))
    if loss > (1.0 - LEAST_EXPLAINED) * whole or threshold >= levels[-1]:
        return none
    most = 1.0 - 1.0 / MOST_RATIO
    low, high = (1.0 / (1.0 - float(np.clip(slope + s * NORMAL_95 * errors[1], 0.0, most))) for s in (-1, 1))
    ratio = Figure(1.0 / (1.0 - slope), low, high)
    if threshold <= levels[0]:  # even the softest notes are turned down: how far up the knee lies is not to be seen
        return Compression(Figure.missing(), ratio, math.nan, math.nan, seen)
    return Compression(Figure.around(float(threshold), float(errors[0])), ratio, KNEES_DB[best], float(soft_gain), seen)


def _curve(track: GainTrack) -> tuple[Array, Array, Array]:
    """Levels, gains (dB) and deviations of the gains' medians, bin by bin, from steady frames that tell."""
    back = round(STEADY_S / HOP_S)
    if track.level_db.size <= back:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    before = np.lib.stride_tricks.sliding_window_view(track.level_db, back + 1)
    steady = np.zeros(track.level_db.size, dtype=bool)
    steady[back:] = np.ptp(before, axis=1) < STEADY_DB
    use = steady & track.certain & (track.gain > 0.0)
    level, gain = track.level_db[use], 20.0 * np.log10(track.gain[use] * abs(track.loud_gain))
    bins = np.floor(level / BIN_DB)
    found = []
    for k in np.unique(bins):
        inside = bins == k
        if np.sum(inside) >= LEAST_FRAMES:
            spread = max(float(np.std(gain[inside])), 0.05)
            # Neighbouring frames share a note: the square root of their count is not how sure they are together.
            deviation = spread / math.sqrt(LEAST_FRAMES)
            found.append((float(np.mean(level[inside])), float(np.median(gain[inside])), deviation))
    rows = np.array(found).reshape(-1, 3)
    return rows[:, 0], rows[:, 1], rows[:, 2]


def _fitted(levels: Array, gains: Array, deviations: Array, knee_db: float) -> tuple[Array, Array, float]:
    """Threshold, slope 1 - 1/R and soft gain of equation (1) with a given knee, their covariance, and what is left."""
    from scipy.optimize import least_squares

    def rest(values: Array) -> Array:
        threshold, slope, soft_gain = values
        over = levels - threshold
        bent = np.maximum(over, 0.0)
        if knee_db > 0.0:
            bent = np.where(2.0 * np.abs(over) < knee_db, (over + 0.5 * knee_db) ** 2 / (2.0 * knee_db), bent)
        missed: Array = (soft_gain - slope * bent - gains) / deviations
        return missed

    start = np.array([float(np.mean(levels)), 0.5, float(gains[0])])
    bounds = ([-96.0, 0.0, -60.0], [0.0, 1.0 - 1.0 / MOST_RATIO, 60.0])
    found = least_squares(rest, np.clip(start, bounds[0], bounds[1]), bounds=bounds)
    covariance = np.linalg.pinv(found.jac.T @ found.jac)
    return found.x, covariance, float(2.0 * found.cost)
