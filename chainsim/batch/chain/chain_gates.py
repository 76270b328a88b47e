"""The gates of a chain, one by one: tones that rise and fall go in, and each gate's own gain is read."""

from __future__ import annotations

import math

import numpy as np

from chainsim.batch.chain.chain_under_test import ChainUnderTest
from chainsim.measure.gate_ramps import (
    FAST_DB_PER_S,
    SLOW_DB_PER_S,
    FastRamp,
    GateFigures,
    read_fast_ramp,
    tone,
    turning_dbfs,
    without_delay,
)
from chainsim.units import Array

LOWEST_DBFS, HIGHEST_DBFS, END_DBFS = -100.0, 0.0, -140.0
"""A gate's threshold is -96 dBFS or more; the way down leaves one that holds for long its time."""
SETTLE_S = 0.3


def gate_test(chain: ChainUnderTest, freq_hz: float, sample_rate_hz: float) -> tuple[GateFigures, ...]:
    """Send a tone that rises and falls, then slower ones around the level at which each gate opens and closes."""
    if not chain.gates:
        return ()
    ramps = _Ramps(chain, freq_hz, sample_rate_hz)
    level = ramps.course((LOWEST_DBFS, SETTLE_S), (HIGHEST_DBFS, FAST_DB_PER_S), (END_DBFS, FAST_DB_PER_S))
    fast = {name: read_fast_ramp(level, gain) for name, gain in ramps.gains(level).items()}
    return tuple(
        GateFigures(
            name=name,
            opens_dbfs=ramps.opens(name, read),
            closes_dbfs=ramps.closes(name, read),
            closed_gain_db=read.closed_gain_db,
            openings=read.openings,
            closings=read.closings,
        )
        for name, read in fast.items()
    )


class _Ramps:
    """Tones into a chain whose level moves on straight lines in dB."""

    def __init__(self, chain: ChainUnderTest, freq_hz: float, sample_rate_hz: float) -> None:
        self._chain, self._freq_hz, self._rate_hz = chain, freq_hz, sample_rate_hz

    def opens(self, name: str, fast: FastRamp) -> float:
        """Slowly up from just under where the fast ramp saw it open."""
        if math.isnan(fast.opens_dbfs):
            return math.nan
        low, high = fast.opens_dbfs - 4.0, min(fast.opens_dbfs + 2.0, HIGHEST_DBFS)
        level = self.course((low, SETTLE_S), (high, SLOW_DB_PER_S))
        return without_delay(fast.opens_dbfs, turning_dbfs(level, self.gains(level)[name], 0, up=True))

    def closes(self, name: str, fast: FastRamp) -> float:
        """Open it, then slowly down from where it opened."""
        if math.isnan(fast.closes_dbfs):
            return math.nan
        high = HIGHEST_DBFS if math.isnan(fast.opens_dbfs) else min(fast.opens_dbfs + 1.0, HIGHEST_DBFS)
        level = self.course(
            (min(high + 4.0, HIGHEST_DBFS), SETTLE_S), (high, FAST_DB_PER_S), (fast.closes_dbfs - 1.0, SLOW_DB_PER_S)
        )
        first = round(SETTLE_S * self._rate_hz)
        return without_delay(fast.closes_dbfs, turning_dbfs(level, self.gains(level)[name], first, up=False))

    def course(self, begin: tuple[float, float], *ways: tuple[float, float]) -> Array:
        """Levels in dB: stay at the first for its seconds, then go to each of the others at so many dB a second."""
        level, stay_s = begin
        parts = [np.full(round(stay_s * self._rate_hz), level)]
        for goal, slope in ways:
            parts.append(np.linspace(level, goal, round(abs(goal - level) / slope * self._rate_hz)))
            level = goal
        return np.concatenate(parts)

    def gains(self, level_dbfs: Array) -> dict[str, Array]:
        """The gain of every gate."""
        return self._chain.gate_gains(tone(level_dbfs, self._freq_hz, self._rate_hz))
