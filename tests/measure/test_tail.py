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
    assert read.no_decay is None
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
    assert read.no_decay == "echoes"


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


def smeared(at_s: float, gain: float) -> Array:
    """A burst of noise with the envelope t e^(-t / 20 ms) from `at_s` on."""
    t = np.maximum(np.arange(96_000) / RATE_HZ - at_s, 0.0)
    burst = np.random.default_rng(5).standard_normal(t.size) * t * np.exp(-t / 0.02)
    return gain * burst / np.sqrt(np.sum(burst**2))


def test_no_decay_time_without_a_straight_decay() -> None:
    direct = np.zeros(96_000)
    direct[0] = 1.0
    # One smeared echo: an EDT would be its lateness times six and more.
    late = tail_of(direct + smeared(0.35, 0.3))
    assert late.no_decay == "late"
    assert late.fallen_s == pytest.approx(0.35 + 0.02 * 6.0, abs=0.03)
    # Three, each 10 dB down: a staircase with round corners.
    steps = tail_of(direct + sum(smeared(0.002 + 0.12 * k, 0.3 * 10.0 ** (-k / 2.0)) for k in range(5)))
    assert steps.no_decay == "bent"
    # A resonance of 100 Hz, Q 1: its envelope falls by 30 dB in 3.45 Q / (pi f) s.
    n = np.arange(9_600)
    ringing = tail_of(np.exp(-np.pi * 100.0 / RATE_HZ * n) * np.cos(2.0 * np.pi * 100.0 / RATE_HZ * n))
    assert ringing.no_decay == "ringing"
    assert ringing.fallen_s == pytest.approx(3.45 / (np.pi * 100.0), abs=0.004)
    for tail in (late, steps, ringing):
        assert np.isnan([tail.edt_s, tail.t20_s, tail.t30_s, tail.decay_s]).all()


def test_two_slopes_are_a_decay() -> None:
    quick = tail_of(np.concatenate([[200.0], noise_decay(0.5) + 0.2 * noise_decay(0.9)]))
    assert quick.no_decay is None
    assert 0.5 < quick.t20_s < quick.t30_s < 0.9


def test_nothing_goes_on() -> None:
    h = np.zeros(4_800)
    h[10] = 1.0
    read = tail_of(h)
    assert read.level_db == -math.inf
    assert math.isnan(read.decay_s)
    assert measure_tail(np.zeros((2, 4_800)), RATE_HZ) is None
