"""Envelope follower against closed forms, and the detector's low cut against its definition."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.dsp.envelope import follow_peaks, follower, low_cut_coefficient, low_cut_level, two_pole_coefficient

FS = 48_000.0


def envelope(x: np.ndarray, attack_ms: float, hold_ms: float, release_ms: float) -> np.ndarray:
    """Peak envelope of x (frames,)."""
    found = np.empty(len(x))
    attack, release, hold = follower(attack_ms, hold_ms, release_ms, FS)
    follow_peaks(x[None], attack, release, hold, np.zeros(4), np.zeros(2, np.int64), found)
    return found


def test_coefficient_of_10_ms() -> None:
    assert follower(10.0, 0.0, 10.0, FS)[0] == pytest.approx(0.9979188353, abs=5e-11)  # exp(-1/(tau fs)), derived


def test_rise_of_a_step() -> None:
    e = envelope(np.ones(9600), 10.0, 0.0, 100.0)
    ms = (np.arange(9600) + 1.0) * 1000.0 / FS
    # derived: 63.21 % at tau, 90 % at 2.3026 tau, 10-90 % in ln 9 tau
    assert np.interp(10.0, ms, e) == pytest.approx(0.6321, abs=5e-5)
    t10, t90 = np.interp([0.1, 0.9], e, ms)
    assert t90 == pytest.approx(23.026, abs=0.005)
    assert t90 - t10 == pytest.approx(21.972, abs=0.005)


def test_fall_of_the_decoupled_follower() -> None:
    before = int(FS)
    x = np.concatenate([np.ones(before), np.full(int(FS), 0.1)])  # 20 dB down
    e = (envelope(x, 10.0, 0.0, 100.0)[before - 1 :] - 0.1) / 0.9
    ms = np.arange(len(e)) * 1000.0 / FS
    # Giannoulis, Massberg, Reiss (JAES 60(6), 2012), smooth decoupled detector; 110.5 ms, derived
    assert ms[np.argmax(e < math.exp(-1.0))] == pytest.approx(110.5, abs=0.1)
    expected = (100.0 * np.exp(-ms / 100.0) - 10.0 * np.exp(-ms / 10.0)) / 90.0
    assert np.max(np.abs(e - expected)) < 1e-3


def test_hold_keeps_a_peak_as_long_as_it_says() -> None:
    x = np.zeros(4800)
    x[100] = 1.0
    e = envelope(x, 0.0, 20.0, 5.0)
    assert (e[100 : 100 + 961] == 1.0).all()
    assert e[100 + 960 + 240] == pytest.approx(math.exp(-1.0), abs=1e-12)  # 5 ms = 240 samples later


@pytest.mark.parametrize("freq_hz", [69.3, 110.0, 440.0])
def test_hold_of_a_period_leaves_no_ripple(freq_hz: float) -> None:
    x = np.sin(2.0 * np.pi * freq_hz * np.arange(int(FS)) / FS)
    e = envelope(x, 10.0, 16.0, 80.0)[int(FS) // 2 :]
    assert 20.0 * math.log10(e.max() / e.min()) < 1e-3
    assert e.max() == pytest.approx(1.0, abs=2e-3)


def test_two_equal_poles_together_take_the_stated_time() -> None:
    a = two_pole_coefficient(20.0, FS)
    q = p = 0.0
    for _ in range(960):  # 20 ms
        q = 1.0 + a * (q - 1.0)
        p = q + a * (p - q)
    assert p == pytest.approx(1.0 - math.exp(-1.0), abs=1e-3)


@pytest.mark.parametrize("sample_rate_hz", [44_100.0, 96_000.0])
@pytest.mark.parametrize("freq_hz", [20.0, 80.0, 300.0, 3000.0])
def test_low_cut_is_two_one_poles(freq_hz: float, sample_rate_hz: float) -> None:
    x = np.sin(2.0 * np.pi * freq_hz * np.arange(int(2 * sample_rate_hz)) / sample_rate_hz)[None]
    level = np.empty(x.shape[1])
    low_cut_level(x, low_cut_coefficient(80.0, sample_rate_hz), np.zeros((1, 2)), level)
    warped = math.tan(math.pi * freq_hz / sample_rate_hz) / math.tan(math.pi * 80.0 / sample_rate_hz)
    r2 = warped**2 / (math.sqrt(2.0) - 1.0)  # each pole at sqrt(sqrt 2 - 1) of the cutoff, so both are -3.01 dB at it
    assert level[-int(sample_rate_hz) :].max() == pytest.approx(r2 / (1.0 + r2), rel=2e-3)
