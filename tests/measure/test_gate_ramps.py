"""Gates read from ramps: ideal gates in numpy, whose thresholds are what was put in."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.gate_ramps import (
    FAST_DB_PER_S,
    SLOW_DB_PER_S,
    read_fast_ramp,
    tone,
    turning_dbfs,
    turns,
    without_delay,
)
from chainsim.units import Array

RATE_HZ = 8_000.0
UP = np.linspace(-60.0, 0.0, 24_000)
LEVEL = np.concatenate([UP, UP[::-1]])
"""DY-8: a triangle from -60 to 0 dBFS and back."""


def gain_of(heard_db: Array, opens_db: float, hysteresis_db: float, floor: float) -> Array:
    """Gain of a gate that goes an eighth of the rest of its way at every frame."""
    gain, is_open, g = np.empty(heard_db.size), False, floor
    for i, level in enumerate(heard_db):
        is_open = level >= opens_db - (hysteresis_db if is_open else 0.0)
        g += ((1.0 if is_open else floor) - g) / 8.0
        gain[i] = g
    return gain


def test_opening_closing_and_floor() -> None:
    # DY-8: T -30, H 6: exactly one opening at -30 and one closing at -36 (0.2 dB).
    read = read_fast_ramp(LEVEL, gain_of(LEVEL, -30.0, 6.0, 0.01))
    assert (read.openings, read.closings) == (1, 1)
    assert read.opens_dbfs == pytest.approx(-30.0, abs=0.01)
    assert read.closes_dbfs == pytest.approx(-36.0, abs=0.01)
    assert read.closed_gain_db == pytest.approx(-40.0)


@pytest.mark.parametrize(("hysteresis_db", "chatters"), [(0.0, True), (6.0, False)])
def test_jitter_makes_a_gate_chatter_without_hysteresis(hysteresis_db: float, chatters: bool) -> None:
    # DY-8: +-1 dB of jitter, here a square wave of 20 Hz.
    jitter = np.sign(np.sin(2.0 * np.pi * 20.0 / RATE_HZ * np.arange(LEVEL.size) + 0.1))
    read = read_fast_ramp(LEVEL, gain_of(LEVEL + jitter, -30.0, hysteresis_db, 0.0))
    assert (read.openings > 1) == chatters


def test_silence_when_closed() -> None:
    assert read_fast_ramp(LEVEL, gain_of(LEVEL, -20.0, 3.0, 0.0)).closed_gain_db == -math.inf


def test_one_that_never_closes_never_opens_or_always_is_open() -> None:
    never_closes = read_fast_ramp(LEVEL, gain_of(LEVEL, -20.0, 60.0, 0.1))
    assert never_closes.opens_dbfs == pytest.approx(-20.0, abs=0.01)
    assert math.isnan(never_closes.closes_dbfs)
    never_opens = read_fast_ramp(LEVEL, gain_of(LEVEL, 5.0, 6.0, 0.1))
    assert (never_opens.openings, never_opens.closings) == (0, 0)
    assert math.isnan(never_opens.opens_dbfs)
    assert never_opens.closed_gain_db == pytest.approx(-20.0)
    always = read_fast_ramp(LEVEL, np.ones(LEVEL.size))
    assert (always.openings, always.closings) == (0, 0)
    assert math.isnan(always.closed_gain_db)


def test_a_gain_that_turns_back_at_once_has_not_opened() -> None:
    gain_db = np.array([-20.0, -20.0, -19.5, -20.0, -20.0, -10.0, 0.0, 0.0, -0.5, 0.0, -20.0])
    at, up = turns(10.0 ** (gain_db / 20.0))
    assert at.tolist() == [5, 10]
    assert up.tolist() == [True, False]


def test_turnings_and_their_delay() -> None:
    falling = np.linspace(-20.0, -40.0, 201)
    gain = np.where(falling > -33.05, 1.0, 0.001)
    assert turning_dbfs(falling, gain, 0, up=False) == pytest.approx(-33.1)
    assert math.isnan(turning_dbfs(falling, gain, 0, up=True))
    assert math.isnan(turning_dbfs(falling, gain, 150, up=False))
    # A gate that holds for 0.3 s answers 0.3 s times the slope too low.
    assert without_delay(-50.0 - 0.3 * FAST_DB_PER_S, -50.0 - 0.3 * SLOW_DB_PER_S) == pytest.approx(-50.0)


def test_a_tone_follows_its_level() -> None:
    y = tone(np.full(8_000, -20.0), 440.0, RATE_HZ)
    assert np.sqrt(2.0 * np.mean(y**2)) == pytest.approx(0.1)
