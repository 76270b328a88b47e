"""Decay and echoes after the direct sound, from responses made by closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.tail import Tail, measure_tail
from chainsim.units import Array

RATE_HZ = 48_000.0


def noise_decay(t60_s: float, seconds: float = 2.0) -> Array:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.random.default_rng(4).standard_normal(t.size) * 10.0 ** (-3.0 * t / t60_s)


def echo_train(spacing: int, gain: float, count: int, first: float) -> Array:
    h = np.zeros(spacing * (count + 1))
    h[0] = 1.0
    h[spacing::spacing] = first * gain ** np.arange(count)
    return h


def tail_of(*channels: Array) -> Tail:
    read = measure_tail(np.array(channels), RATE_HZ)
    assert read is not None
    return read


@pytest.mark.parametrize("t60_s", [0.4, 1.2, 2.5])
def test_decay_does_not_count_the_direct_sound(t60_s: float) -> None:
    h = np.concatenate([[200.0], np.zeros(1_200), noise_decay(t60_s)])
    read = tail_of(h)
    assert [read.t20_s, read.t30_s] == pytest.approx([t60_s] * 2, rel=0.05)
    assert read.echoes is None
    energy = np.sum(h[1:] ** 2)
    assert read.level_db == pytest.approx(10.0 * math.log10(energy / (energy + 200.0**2)), abs=0.01)


def test_echoes_that_repeat() -> None:
    read = tail_of(echo_train(12_000, 0.5, 6, 0.7), np.zeros(84_000))
    assert read.echoes is not None
    assert read.echoes.spacing_ms == pytest.approx(250.0, abs=0.02)
    assert read.echoes.fall_db == pytest.approx(20.0 * math.log10(2.0), abs=0.01)
    assert read.echoes.levels_db[0] == pytest.approx(20.0 * math.log10(0.7), abs=0.01)
    # A feedback comb: T60 = 3 D / |log10 g|.
    assert read.decay_s == pytest.approx(3.0 * 0.25 / math.log10(2.0), rel=0.01)
    assert read.echoes.share == pytest.approx(1.0)
    assert math.isnan(read.t30_s)


def test_one_echo_does_not_fall_and_two_times_are_not_even() -> None:
    one = tail_of(echo_train(5_760, 1.0, 1, 0.5)).echoes
    assert one is not None
    assert one.spacing_ms == pytest.approx(120.0, abs=0.02)
    assert math.isnan(one.fall_db)
    h = np.zeros(48_000)
    h[[0, 9_600, 14_400]] = 1.0, 0.5, 0.4
    uneven = tail_of(h).echoes
    assert uneven is not None
    assert uneven.times_ms == pytest.approx([200.0, 300.0], abs=0.02)
    assert math.isnan(uneven.spacing_ms)


def test_nothing_goes_on() -> None:
    h = np.zeros(4_800)
    h[10] = 1.0
    read = tail_of(h)
    assert read.level_db == -math.inf
    assert math.isnan(read.decay_s)
    assert measure_tail(np.zeros((2, 4_800)), RATE_HZ) is None
