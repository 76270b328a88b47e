"""The flanger against closed forms: its comb, its feedback, its sweep, and the moment it passes through zero."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.blocks.harness import prepared, run

FS = 48_000
EQUAL = {"dry_db": 0.0, "wet_db": 0.0}


def response(**settings: object) -> np.ndarray:
    """Spectrum of one second of the impulse response: bin k is k Hz."""
    x = np.zeros((1, FS))
    x[0, 0] = 1.0
    return np.fft.rfft(run(prepared("flanger", **settings), x)[0])  # type: ignore[arg-type]


def at_rest(delay_ms: float) -> dict[str, float]:
    """Settings of a sweep that stays where it is."""
    return {"shortest_ms": delay_ms, "longest_ms": delay_ms}


@pytest.mark.parametrize("delay_ms", [1.0, 5.0])
def test_equal_levels_make_a_comb(delay_ms: float) -> None:
    size = np.abs(response(feedback_percent=0.0, **at_rest(delay_ms), **EQUAL))
    for k in range(3):
        assert size[round((2 * k + 1) * 500.0 / delay_ms)] < 1e-9  # notches at (2 k + 1) / (2 t)
        assert 20.0 * math.log10(size[round(k * 1000.0 / delay_ms)]) == pytest.approx(6.02, abs=0.001)


@pytest.mark.parametrize("feedback", [0.7, -0.5])
def test_feedback_is_a_geometric_series_of_even_power(feedback: float) -> None:
    found = response(feedback_percent=100.0 * feedback, dry_db="off", wet_db=0.0, **at_rest(1.0))
    late = np.exp(-2j * np.pi * np.arange(FS // 2 + 1) / 1000.0)
    expected = math.sqrt(1.0 - feedback**2) * late / (1.0 - feedback * late)
    assert np.max(np.abs(found - expected)) < 1e-9
    assert np.mean(np.abs(found[:24_000]) ** 2) == pytest.approx(1.0, abs=1e-9)  # sum of g^2k = 1 / (1 - g^2)


def test_sweep_is_even_in_octaves() -> None:
    ramp = np.arange(2.0 * FS)[None] / FS
    block = prepared("flanger", shape="triangle", rate_hz=0.5, phase=0.75, shortest_ms=0.5, longest_ms=8.0,
                     feedback_percent=0.0, dry_db="off", wet_db=0.0)  # fmt: skip
    delay_ms = 1000.0 * (ramp - run(block, ramp))[0]
    at = np.arange(2_000, 48_000, 1_000)  # up within the first second: from the longest delay to the shortest
    assert delay_ms[at] == pytest.approx(8.0 * (0.5 / 8.0) ** (at / FS), abs=1e-6)


def test_through_zero_the_delayed_sound_overtakes_the_other() -> None:
    ramp = np.arange(4.0 * FS)[None] / FS
    settings = {"shape": "triangle", "rate_hz": 0.25, "longest_ms": 3.0, "through_zero": True, "feedback_percent": 0.0}
    block = prepared("flanger", dry_db="off", wet_db=0.0, **settings)
    delay_ms = 1000.0 * (ramp - run(block, ramp))[0]
    late_ms = 1000.0 * block.latency_samples / FS
    assert delay_ms[2 * FS] - late_ms == pytest.approx(3.0, abs=1e-3)  # two seconds are half a turn from the low end on
    assert np.min(delay_ms[1_000 : 2 * FS]) - late_ms == pytest.approx(-3.0 + 3.0 * 1_000 / FS, abs=1e-3)
    x = np.random.default_rng(3).standard_normal((1, FS + 1))
    for flip_wet, times in ((False, 2.0), (True, 0.0)):  # a quarter turn on both are one sound: +6.02 dB, or nothing
        y = run(prepared("flanger", flip_wet=flip_wet, **EQUAL, **settings), x)
        assert y[0, FS] == pytest.approx(times * x[0, FS - round(block.latency_samples)], abs=1e-9)
