"""Where a gate opens and closes, read from a tone whose level rises and falls.

The gate shows by the gain from input to output, which it changes at once: a filter that opens with the level, or an
expander, does so within some dB; it is open from half way (in dB) between closed and open on, or from
12 dB under open. A gate takes time (attack, hold, release), so on a ramp it answers late: at levels L1 and L2 on ramps
of slopes s1 > s2 it would answer at

    L = L2 + (L2 - L1) s2 / (s1 - s2)                                                                        (1)

on one that takes for ever.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.units import Array, Audio

FAST_DB_PER_S, SLOW_DB_PER_S = 20.0, 4.0
UNDER_OPEN_DB = 12.0
SMALLEST_STEP_DB = 3.0
"""A gate opens by more."""
WIDEST_DB = 1.0
"""So much the level may rise while a gate opens: by that an attack of 200 ms is done on the slow ramp."""
MARGIN_DB = 2.0
"""A level has to fall so far under the limit to count as another closing."""
PERIODS = 2
FLOOR_DB = -200.0


@dataclass(frozen=True)
class GateFigures:
    """What a gate-like chain does to a slow tone; levels in dBFS are those of the tone going in.

    Attributes
    ----------
    opens_dbfs, closes_dbfs : float
        NaN for one that does not close while the tone falls.
    closed_gain_db : float
        Relative to open; minus infinity for silence.
    openings, closings : int
        On one way up and down: more than one of each is chatter.
    """

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


def ramp_gain_db(x: Array, y: Audio, freq_hz: float, sample_rate_hz: float, latency: int) -> Array:
    """Gain in dB at each frame of a tone x (frames,) in y (channels, frames or more), over two periods around it."""
    window = PERIODS * round(sample_rate_hz / freq_hz)
    power = np.mean(y[:, latency : latency + x.size] ** 2, axis=0)
    ratio = _sliding(power, window) / np.maximum(_sliding(x**2, window), 1e-300)
    gain: Array = 10.0 * np.log10(np.maximum(ratio, 10.0 ** (FLOOR_DB / 10.0)))
    return gain


@dataclass(frozen=True)
class FastRamp:
    """What the fast ramp up and down showed; the limit is the gain (dB) from which on it counts as open."""

    limit_db: float
    open_db: float
    closed_db: float
    opens_dbfs: float
    closes_dbfs: float
    openings: int
    closings: int


def read_fast_ramp(level_dbfs: Array, gain_db: Array, top: int) -> FastRamp | None:
    """Read a ramp that rises until frame `top` and then falls; None if the gain shows no gate."""
    margin = max(1, top // 50)
    up = gain_db[margin:top]
    closed, opened = float(np.median(up[:margin])), float(np.max(up))
    if opened - closed < SMALLEST_STEP_DB:
        return None
    limit = max(opened - UNDER_OPEN_DB, 0.5 * (opened + closed))
    changes, opens = _changes(gain_db[margin:], limit)
    risen, fallen = changes[opens] + margin, changes[~opens] + margin
    risen, fallen = risen[risen < top], fallen[fallen >= top]
    return FastRamp(
        limit_db=limit,
        open_db=opened,
        closed_db=closed,
        opens_dbfs=float(level_dbfs[risen[0]]) if risen.size else math.nan,
        closes_dbfs=float(level_dbfs[fallen[-1]]) if fallen.size else math.nan,
        openings=int(np.sum(opens)),
        closings=int(np.sum(~opens)),
    )


def crossing_dbfs(level_dbfs: Array, gain_db: Array, limit_db: float, first: int, *, rising: bool) -> float:
    """Level at which the gain passes the limit for the first time from frame `first` on; NaN if it does not."""
    passed = gain_db[first:] >= limit_db if rising else gain_db[first:] < limit_db
    return float(level_dbfs[first + int(np.argmax(passed))]) if passed.any() else math.nan


def opening_dbfs(level_dbfs: Array, gain_db: Array, fast: FastRamp) -> float:
    """Level at which a slow ramp sees it open; NaN if the gain rises too gradually for a gate."""
    begins_db = fast.closed_db + 0.25 * (fast.limit_db - fast.closed_db)
    begins = crossing_dbfs(level_dbfs, gain_db, begins_db, 0, rising=True)
    opens = crossing_dbfs(level_dbfs, gain_db, fast.limit_db, 0, rising=True)
    return opens if opens - begins <= WIDEST_DB else math.nan


def without_delay(fast_dbfs: float, slow_dbfs: float) -> float:
    """Equation (1); the slow reading itself where the fast one is missing."""
    share = SLOW_DB_PER_S / (FAST_DB_PER_S - SLOW_DB_PER_S)
    return slow_dbfs if math.isnan(fast_dbfs) else slow_dbfs + (slow_dbfs - fast_dbfs) * share


def _sliding(power: Array, window: int) -> Array:
    """Mean over a window around each frame; summed afresh each time, for a running sum would drown silence."""
    mean: Array = np.convolve(power, np.full(window, 1.0 / window), "same")
    return mean


def _changes(gain_db: Array, limit_db: float) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Frames at which it opens or closes, and which of the two; it starts closed."""
    sides = np.where(gain_db >= limit_db, 1, np.where(gain_db < limit_db - MARGIN_DB, -1, 0))
    told = np.flatnonzero(sides)
    signs = np.concatenate([[-1], sides[told]])
    changed = np.flatnonzero(np.diff(signs))
    return told[changed], sides[told][changed] > 0
