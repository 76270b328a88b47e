"""Noise gate against definitions, so the expected values are derived."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.blocks.harness import prepared, run

FS = 48_000


def triangle() -> tuple[np.ndarray, np.ndarray]:
    """Peak level -60 ... 0 ... -60 dBFS over 10 s, and a 1 kHz sine of that level."""
    t = np.arange(10 * FS) / FS
    level_db = -12.0 * np.abs(t - 5.0)
    return level_db, (10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * 1000.0 * t))[None]


def test_hysteresis_opens_at_t_and_closes_at_t_minus_h() -> None:
    level_db, x = triangle()
    quick = {"attack_ms": 0.1, "hold_ms": 0.0, "release_ms": 1.0}
    _, told = run(prepared("noise_gate", threshold_db=-30.0, hysteresis_db=6.0, **quick), x, readings=True)
    opening = np.flatnonzero(np.diff((told[0] > 0.5).astype(int)) == 1)
    closing = np.flatnonzero(np.diff((told[0] > 0.99).astype(int)) == -1)
    assert len(opening) == 1
    assert len(closing) == 1
    assert level_db[opening[0]] == pytest.approx(-30.0, abs=0.2)
    assert level_db[closing[0]] == pytest.approx(-36.0, abs=0.2)


@pytest.mark.parametrize(("hysteresis_db", "chatters"), [(0.0, True), (6.0, False)])
def test_one_db_of_jitter_chatters_only_without_hysteresis(hysteresis_db: float, chatters: bool) -> None:
    t = np.arange(4 * FS) / FS
    level_db = -30.0 + np.where(np.modf(t * 5.0)[0] < 0.5, 1.0, -1.0)
    x = (10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * 1000.0 * t))[None]
    block = prepared("noise_gate", threshold_db=-30.0, hysteresis_db=hysteresis_db, hold_ms=0.0, release_ms=5.0)
    _, told = run(block, x, readings=True)
    closed = int(np.sum((told[0, 1:] < 1.0) & (told[0, :-1] == 1.0)))
    assert (closed >= 15) == chatters
    assert (closed == 0) == (not chatters)


def test_hold_bridges_gaps_and_gain_moves_one_way() -> None:
    hold_ms, gap_ms = 60.0, 50.0
    t = np.arange(2 * FS) / FS
    sounding = np.modf(t / 0.2)[0] < (200.0 - gap_ms) / 200.0
    x = np.where(sounding & (t < 1.0), 0.5, 0.0)[None] * np.sin(2.0 * np.pi * 1000.0 * t)
    block = prepared("noise_gate", threshold_db=-30.0, hold_ms=hold_ms, floor_db=-40.0)
    _, told = run(block, x, readings=True)
    gain = told[0]
    falls = np.flatnonzero(np.diff(gain) < 0.0)
    rises = np.flatnonzero(np.diff(gain) > 0.0)
    last_sound = np.flatnonzero(x[0])[-1]
    assert rises.max() < falls.min()
    assert falls.min() >= last_sound + hold_ms / 1000.0 * FS
    assert gain[-1] == pytest.approx(0.01, abs=1e-12)  # -40 dB


@pytest.mark.parametrize(("attack_ms", "release_ms"), [(2.0, 50.0), (10.0, 200.0)])
@pytest.mark.parametrize("sample_rate_hz", [44_100.0, 96_000.0])
def test_attack_and_release_are_times_to_63_percent(attack_ms: float, release_ms: float, sample_rate_hz: float) -> None:
    frames = int(2.0 * sample_rate_hz)
    t = np.arange(frames) / sample_rate_hz
    x = np.where((t > 0.1) & (t < 0.5), 0.5, 0.0)[None] * np.sin(2.0 * np.pi * 1000.0 * t)
    chosen = {"attack_ms": attack_ms, "release_ms": release_ms, "hold_ms": 0.0, "floor_db": "off"}
    _, told = run(prepared("noise_gate", sample_rate_hz=sample_rate_hz, **chosen), x, readings=True)
    gain = told[0]
    start = int(np.argmax(gain > 0.0))
    up = (int(np.argmax(gain > 1.0 - math.exp(-1.0))) - start) * 1000.0 / sample_rate_hz
    open_until = int(np.flatnonzero(gain == 1.0)[-1])
    down = int(np.argmax(gain[open_until:] < math.exp(-1.0))) * 1000.0 / sample_rate_hz
    # 1 - 1/e convention of Giannoulis, Massberg, Reiss (JAES 60(6), 2012); 0.04 ms is two samples at 48 kHz.
    assert up == pytest.approx(attack_ms, abs=0.04)
    assert down == pytest.approx(release_ms, abs=0.04)


def test_open_gate_changes_no_bit() -> None:
    x = 0.3 * np.random.default_rng(5).standard_normal((2, FS))
    y, told = run(prepared("noise_gate", channels=2), x, readings=True)
    opened = int(np.argmax(told[0] == 1.0))
    assert y[:, opened:].tobytes() == x[:, opened:].tobytes()
