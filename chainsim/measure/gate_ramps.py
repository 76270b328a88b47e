"""Where a gate opens and closes, read from its own gain while a tone's level rises and falls.

A gate's gain rises from the moment at which it opens and falls from the moment at which it begins to close. It holds
before that, and its detector takes time, so on a ramp it answers late: at levels L1 and L2 on ramps of slopes
s1 > s2 it would answer at

    L = L2 + (L2 - L1) s2 / (s1 - s2)                                                                        (1)

on one that takes for ever.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.units import Array, gain_to_db

FAST_DB_PER_S, SLOW_DB_PER_S = 40.0, 4.0
MARGIN_DB = 1.0
"""A gain that turns back after less has not opened or closed."""
SMALLEST_GAIN = 1e-10


@dataclass(frozen=True)
class GateFigures:
    """What a gate does to a slow tone; levels in dBFS are those of the tone that goes into the chain.

    Attributes
    ----------
    name : str
    opens_dbfs : float
        NaN for one that does not open, or is open before the tone is loud enough to be noticed.
    closes_dbfs : float
        NaN for one that does not close while the tone falls.
    closed_gain_db : float
        Of the gate itself; minus infinity for silence, NaN for one that is never closed.
    openings, closings : int
        On one way up and down: more than one of each is chatter.
    """

    name: str
    opens_dbfs: float
    closes_dbfs: float
    closed_gain_db: float
    openings: int
    closings: int

    @property
    def hysteresis_db(self) -> float:
        """How far under its opening it closes."""
        return self.opens_dbfs - self.closes_dbfs


def tone(level_dbfs: Array, freq_hz: float, sample_rate_hz: float) -> Array:
    """A sine whose peak amplitude follows `level_dbfs`, shape (frames,)."""
    phase = 2.0 * np.pi * freq_hz / sample_rate_hz * np.arange(level_dbfs.size)
    sine: Array = 10.0 ** (level_dbfs / 20.0) * np.sin(phase)
    return sine


def turns(gain: Array) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Frames at which a gain (frames,) begins to rise or to fall by `MARGIN_DB` or more, and whether it rises."""
    gain_db = 20.0 * np.log10(np.maximum(gain, SMALLEST_GAIN))
    moving = np.flatnonzero(np.diff(gain_db))
    signs = np.sign(np.diff(gain_db)[moving])
    first = np.flatnonzero(np.diff(signs, prepend=0.0))  # of every way in one direction
    begins, ends = moving[first], moving[np.append(first[1:], moving.size) - 1] + 1 if moving.size else moving[:0]
    far = np.abs(gain_db[ends] - gain_db[begins]) >= MARGIN_DB
    return begins[far] + 1, signs[first][far] > 0.0


@dataclass(frozen=True)
class FastRamp:
    """What a fast ramp up and down showed; NaN where it did not happen."""

    opens_dbfs: float
    closes_dbfs: float
    closed_gain_db: float
    openings: int
    closings: int


def read_fast_ramp(level_dbfs: Array, gain: Array) -> FastRamp:
    """Read a gate's gain (frames,) while the level rises and then falls: its first opening and its last closing."""
    at, up = turns(gain)
    risen, fallen = at[up], at[~up]
    shut = fallen.size > 0 and (not risen.size or fallen[-1] > risen[-1])
    return FastRamp(
        opens_dbfs=float(level_dbfs[risen[0]]) if risen.size else math.nan,
        closes_dbfs=float(level_dbfs[fallen[-1]]) if shut else math.nan,
        closed_gain_db=gain_to_db(float(np.min(gain))) if at.size or np.min(gain) < 1.0 else math.nan,
        openings=risen.size,
        closings=fallen.size,
    )


def turning_dbfs(level_dbfs: Array, gain: Array, first: int, *, up: bool) -> float:
    """Level at which the gain begins to rise, or to fall, for the first time from frame `first` on; NaN if never."""
    at, ups = turns(gain[first:])
    found = at[ups == up]
    return float(level_dbfs[first + found[0]]) if found.size else math.nan


def without_delay(fast_dbfs: float, slow_dbfs: float) -> float:
    """Equation (1)."""
    return slow_dbfs + (slow_dbfs - fast_dbfs) * SLOW_DB_PER_S / (FAST_DB_PER_S - SLOW_DB_PER_S)
