"""The chorus on its own: bits, sides, seeds, voices that never agree, a depth that moves."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.blocks.chorus import centre_delays, voice_gains
from chainsim.dsp.chorus_voices import wandering_delays
from tests.blocks.harness import prepared, run

FS = 48_000


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("width", [0.0, 0.8])
def test_cuts_and_reset_leave_the_bits_alone(width: float, channels: int) -> None:
    frames = 6_000
    x = np.random.default_rng(2).standard_normal((channels, frames))
    moving = {"depth_ms": np.repeat([0.0, 6.0, 2.0], frames // 3), "wet_db": np.linspace(-20.0, 0.0, frames)}
    block = prepared("chorus", channels=channels, moving=moving, voices=4, width=width, rate_hz=3.0)
    whole = run(block, x, moving=moving)
    assert whole.shape[0] == (2 if width else channels)
    for size in (1, 7, 64, 509):
        block.reset()
        assert run(block, x, moving=moving, cuts=range(size, frames, size)).tobytes() == whole.tobytes()


def test_wet_off_passes_bit_by_bit() -> None:
    x = np.random.default_rng(1).standard_normal((1, 3_000))
    assert run(prepared("chorus", wet_db="off", width=0.0), x).tobytes() == x.tobytes()
    assert run(prepared("chorus", wet_db="off", width=1.0), x).tobytes() == np.vstack([x, x]).tobytes()


def test_width_places_voices_next_in_time_on_different_sides() -> None:
    gains = voice_gains(6, 1.0, 2)
    side = np.sign(gains[:, 0] - gains[:, 1])
    assert np.array_equal(side, [1, -1, 1, -1, 1, -1])
    assert np.sum(gains**2, axis=0) == pytest.approx([1.0, 1.0])
    assert np.all(voice_gains(1, 1.0, 2) == 1.0)
    assert centre_delays(3, 12.0) == pytest.approx([8.0, 12.0, 18.0])


def test_a_stereo_sound_keeps_its_sides() -> None:
    x = np.random.default_rng(3).standard_normal((2, 4_000))
    x[1] = 0.0
    y = run(prepared("chorus", channels=2, width=1.0), x)
    assert y[0, 1_000:].any()
    assert not y[1].any()


def test_voices_wander_each_its_own_way_and_stay_in_bounds() -> None:
    frames = 20 * FS
    delays = np.zeros((3, frames))
    wandering_delays(0, np.full(frames, 2.0), np.array([600.0, 800.0, 1_000.0]), 1.0, 7, float(FS), delays)
    wander = (delays - np.array([[600.0], [800.0], [1_000.0]])) / 96.0
    assert np.max(np.abs(wander)) <= 1.0
    assert np.min(np.std(wander, axis=1)) > 0.3
    assert np.max(np.abs(np.corrcoef(wander) - np.eye(3))) < 0.75
    # 3 t^2 - 2 t^3 is at its steepest 1.5: 2 ms to and fro in 1.3 s bend the pitch by 8 cents at the most
    assert np.max(np.abs(np.diff(delays))) < 1.5 * 2.0 * 96.0 / (1.3 * FS) * 1.01
    again = np.zeros((3, 1_000))
    wandering_delays(5 * FS, np.full(1_000, 2.0), np.array([600.0, 800.0, 1_000.0]), 1.0, 7, float(FS), again)
    assert np.array_equal(again, delays[:, 5 * FS : 5 * FS + 1_000])


@pytest.mark.parametrize("freq_hz", [110.0, 440.0, 1_760.0])
def test_a_depth_that_leaps_steps_no_further_than_the_sound_itself(freq_hz: float) -> None:
    frames = 2 * FS
    moving = {"depth_ms": np.where(np.arange(frames) < FS, 0.0, 8.0)}
    block = prepared("chorus", moving=moving, voices=1, width=0.0, dry_db="off", wet_db=0.0)
    x = 0.25 * np.sin(2.0 * np.pi * freq_hz / FS * np.arange(frames))[None]
    y = run(block, x, moving=moving)[0, FS // 2 :]
    assert np.max(np.abs(np.diff(y))) < 2.0 * 0.25 * 2.0 * np.pi * freq_hz / FS


def test_no_voice_is_read_before_it_is_there() -> None:
    x = np.arange(2.0 * FS)[None]
    block = prepared("chorus", voices=6, delay_ms=5.0, depth_ms=8.0, rate_hz=2.0, dry_db="off", wet_db=0.0, width=0.0)
    y = run(block, x)[0]
    mean_late = x[0] - y / np.sqrt(6.0)
    assert np.all(mean_late[2_000:] > 2.0)
    assert np.max(mean_late[2_000:]) < 1.5 * 240.0 + 8.0 * 48.0
