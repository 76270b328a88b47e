"""Where a decay drowns in noise: the knee of an impulse response, after Lundeby et al. 1995.

Block means of the squared response give a noise power (the last tenth) and a straight line in dB (the decay); where
the two cross is the knee. Blocks, noise and line are then taken anew around the knee until it stays.

Source: A. Lundeby, T. E. Vigran, H. Bietz, M. Vorlaender, "Uncertainties of measurements in room acoustics",
Acustica 81 (1995), from memory. Own to this version: a response whose end still falls as the line does was cut
before any noise, and has none taken off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.units import Array

FIRST_BLOCK_S = 0.005
SHORTEST_BLOCK_S = 0.001
BLOCKS_PER_10_DB = 5.0
NOISE_SHARE = 0.1
ABOVE_NOISE_DB = 10.0
LATE_RANGE_DB = 20.0
ROUNDS = 6


@dataclass(frozen=True)
class NoiseTail:
    """What lies behind the usable decay: `noise_power` a frame, `knee` in frames, `fall_db_per_s` of the late decay."""

    noise_power: float
    knee: int
    knee_power: float
    fall_db_per_s: float

    @property
    def time_constant_s(self) -> float:
        """Time in which the late power falls to 1/e."""
        return 10.0 / (math.log(10.0) * self.fall_db_per_s)


def noise_tail(power: Array, sample_rate_hz: float) -> NoiseTail | None:
    """Find the knee of a squared impulse response.

    Parameters
    ----------
    power : ndarray, shape (frames,)
        Squared response from its onset on, without zeros at its end.
    sample_rate_hz : float
        Sample rate.

    Returns
    -------
    NoiseTail or None
        None if no decay stands out of the noise.
    """
    noise = float(np.mean(power[-_tenth(power) :]))
    times, levels = _block_levels(power, max(1, round(FIRST_BLOCK_S * sample_rate_hz)), sample_rate_hz)
    line = _line(times, levels, _db(noise) + ABOVE_NOISE_DB, math.inf)
    if line is None:
        return None
    knee = 0
    for _ in range(ROUNDS):
        start_db, fall = line
        block_s = max(SHORTEST_BLOCK_S, 10.0 / fall / BLOCKS_PER_10_DB)
        times, levels = _block_levels(power, max(1, round(block_s * sample_rate_hz)), sample_rate_hz)
        crossing = round((start_db - _db(noise)) / fall * sample_rate_hz)
        behind = min(crossing + round(10.0 / fall * sample_rate_hz), power.size - _tenth(power))
        noise = float(np.mean(power[max(behind, 0) :]))
        floor_db = _db(noise) + ABOVE_NOISE_DB
        late = _line(times, levels, floor_db, floor_db + LATE_RANGE_DB)
        line = late if late is not None else line
        before, knee = knee, min(max(round((line[0] - _db(noise)) / line[1] * sample_rate_hz), 1), power.size)
        if knee == before:
            break
    start_db, fall = line
    if _still_falling(power, fall / sample_rate_hz):
        end_power = 10.0 ** ((start_db - fall * power.size / sample_rate_hz) / 10.0)
        return NoiseTail(0.0, power.size, end_power, fall)
    return NoiseTail(noise, knee, noise, fall)


def _tenth(power: Array) -> int:
    return max(1, round(NOISE_SHARE * power.size))


def _db(power: float) -> float:
    return 10.0 * math.log10(power) if power > 0.0 else -math.inf


def _block_levels(power: Array, block: int, sample_rate_hz: float) -> tuple[Array, Array]:
    """Return middle times (s) and levels (dB) of whole blocks; a block without energy is minus infinity."""
    count = power.size // block
    means = np.mean(power[: count * block].reshape(count, block), axis=1)
    levels = np.full(count, -np.inf)
    np.log10(means, out=levels, where=means > 0.0)
    times: Array = (np.arange(count, dtype=np.float64) + 0.5) * block / sample_rate_hz
    return times, 10.0 * levels


def _line(times: Array, levels: Array, low_db: float, high_db: float) -> tuple[float, float] | None:
    """Straight line through the blocks from high_db down to low_db: level at time 0 and fall in dB/s, or None."""
    if not levels.size:
        return None
    first = int(np.argmax(levels))
    under = np.flatnonzero(levels[first:] < low_db)
    last = first + int(under[0]) if under.size else levels.size
    over = np.flatnonzero(levels[first:last] > high_db)
    first += int(over[-1]) + 1 if over.size else 0
    t, level = times[first:last], levels[first:last]
    if t.size < 3:
        return None
    slope = float(np.sum((t - np.mean(t)) * level) / np.sum((t - np.mean(t)) ** 2))
    return (float(np.mean(level) - slope * np.mean(t)), -slope) if slope < 0.0 else None


def _still_falling(power: Array, fall_db_per_frame: float) -> bool:
    """Whether the last fifth and the last tenth both fall at least half as fast as the decay does."""
    for share in (2 * NOISE_SHARE, NOISE_SHARE):
        half = round(share * power.size) // 2
        if half == 0:
            return False
        early, late = float(np.mean(power[-2 * half : -half])), float(np.mean(power[-half:]))
        if _db(early) - _db(late) < 0.5 * fall_db_per_frame * half:
            return False
    return True
