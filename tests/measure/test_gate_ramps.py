"""Gates read from ramps: ideal gates in numpy, whose thresholds are what was put in."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.gate_ramps import (
    FAST_DB_PER_S,
    SLOW_DB_PER_S,
    FastRamp,
    crossing_dbfs,
    opening_dbfs,
    ramp_gain_db,
    read_fast_ramp,
    tone,
    without_delay,
)
from chainsim.units import Array

RATE_HZ, FREQ_HZ = 8_000.0, 440.0
UP = np.linspace(-60.0, 0.0, 24_000)
LEVEL = np.concatenate([UP, UP[::-1]])
"""DY-8: a triangle from -60 to 0 dBFS and back."""


def gated(heard_db: Array, opens_db: float, hysteresis_db: float, floor: float) -> Array:
    gain, is_open = np.empty(heard_db.size), False
    for i, level in enumerate(heard_db):
        is_open = level >= opens_db - (hysteresis_db if is_open else 0.0)
        gain[i] = 1.0 if is_open else floor
    return gain


def gain_db(gain: Array, latency: int = 0) -> Array:
    x = tone(LEVEL, FREQ_HZ, RATE_HZ)
    y = np.concatenate([np.zeros(latency), gain * x])[np.newaxis]
    return ramp_gain_db(x, y, FREQ_HZ, RATE_HZ, latency)


def test_opening_closing_and_floor() -> None:
    # DY-8: T -30, H 6: exactly one opening at -30 and one closing at -36 (0.2 dB).
    read = read_fast_ramp(LEVEL, gain_db(gated(LEVEL, -30.0, 6.0, 0.01), 37), UP.size)
    assert read is not None
    assert (read.openings, read.closings) == (1, 1)
    assert read.opens_dbfs == pytest.approx(-30.0, abs=0.2)
    assert read.closes_dbfs == pytest.approx(-36.0, abs=0.2)
    assert read.closed_db - read.open_db == pytest.approx(-40.0, abs=0.1)


@pytest.mark.parametrize(("hysteresis_db", "chatters"), [(0.0, True), (6.0, False)])
def test_jitter_makes_a_gate_chatter_without_hysteresis(hysteresis_db: float, chatters: bool) -> None:
    # DY-8: +-1 dB of jitter, here a square wave of 20 Hz.
    jitter = np.sign(np.sin(2.0 * np.pi * 20.0 / RATE_HZ * np.arange(LEVEL.size) + 0.1))
    read = read_fast_ramp(LEVEL, gain_db(gated(LEVEL + jitter, -30.0, hysteresis_db, 0.0)), UP.size)
    assert read is not None
    assert (read.openings > 1) == chatters


@pytest.mark.parametrize("curve", [np.zeros(LEVEL.size), -0.75 * np.maximum(LEVEL + 20.0, 0.0)])
def test_a_wire_and_a_compressor_are_no_gates(curve: Array) -> None:
    assert read_fast_ramp(LEVEL, gain_db(10.0 ** (curve / 20.0)), UP.size) is None


def test_silence_when_closed() -> None:
    read = read_fast_ramp(LEVEL, gain_db(gated(LEVEL, -20.0, 3.0, 0.0)), UP.size)
    assert read is not None
    assert read.closed_db < -150.0


def test_one_that_never_closes() -> None:
    read = read_fast_ramp(LEVEL, gain_db(gated(LEVEL, -20.0, 60.0, 0.1)), UP.size)
    assert read is not None
    assert math.isnan(read.closes_dbfs)


def test_what_opens_gradually_is_no_gate() -> None:
    level = np.linspace(-40.0, -20.0, 2_001)
    fast = FastRamp(
        limit_db=-12.0, open_db=0.0, closed_db=-24.0, opens_dbfs=-30.0, closes_dbfs=-30.0, openings=1, closings=1
    )
    sudden = np.where(level >= -30.0, 0.0, -24.0)
    # An expander of 1 to 5: 4 dB more gain for each dB in, so 9 dB of gain take 2.25 dB.
    gradual = np.clip(4.0 * (level + 30.0), -24.0, 0.0)
    assert opening_dbfs(level, sudden, fast) == pytest.approx(-30.0, abs=0.02)
    assert math.isnan(opening_dbfs(level, gradual, fast))


def test_crossings_and_their_delay() -> None:
    falling = np.linspace(-20.0, -40.0, 201)
    gain = np.where(falling > -33.05, 0.0, -60.0)
    assert crossing_dbfs(falling, gain, -12.0, 0, rising=False) == pytest.approx(-33.1)
    assert math.isnan(crossing_dbfs(falling, gain - 60.0, -12.0, 0, rising=True))
    # A gate that holds for 0.3 s answers 0.3 s times the slope too low.
    assert without_delay(-50.0 - 0.3 * FAST_DB_PER_S, -50.0 - 0.3 * SLOW_DB_PER_S) == pytest.approx(-50.0)
    assert without_delay(math.nan, -41.0) == -41.0
