"""The flanger on its own: bits, sides, feedback at its limits, ends that move, tails."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.blocks.flanger import rounds_until
from tests.blocks.harness import prepared, run

FS = 48_000


@pytest.mark.parametrize("through_zero", [False, True])
@pytest.mark.parametrize("channels", [1, 2])
def test_cuts_and_reset_leave_the_bits_alone(channels: int, through_zero: bool) -> None:
    frames = 6_000
    x = np.random.default_rng(2).standard_normal((channels, frames))
    moving = {
        "longest_ms": np.repeat([2.0, 15.0, 0.1], frames // 3),
        "shortest_ms": np.linspace(0.1, 3.0, frames),
        "feedback_percent": np.linspace(-90.0, 90.0, frames),
    }
    block = prepared(
        "flanger", channels=channels, moving=moving, rate_hz=9.0, stereo_phase=0.25, through_zero=through_zero
    )
    whole = run(block, x, moving=moving)
    assert whole.shape[0] == 2
    for size in (1, 7, 64, 509):
        block.reset()
        assert run(block, x, moving=moving, cuts=range(size, frames, size)).tobytes() == whole.tobytes()


def test_wet_off_passes_bit_by_bit() -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    assert run(prepared("flanger", channels=2, wet_db="off", dry_db=0.0), x).tobytes() == x.tobytes()


@pytest.mark.parametrize("feedback_percent", [-90.0, 90.0])
def test_the_loop_stays_bounded_while_its_delay_leaps(feedback_percent: float) -> None:
    rng = np.random.default_rng(4)
    frames = 4 * FS
    x = rng.uniform(-1.0, 1.0, (1, frames))
    moving = {"longest_ms": np.where(rng.random(frames) < 0.5, 0.1, 20.0)}
    block = prepared(
        "flanger", moving=moving, rate_hz=10.0, feedback_percent=feedback_percent, dry_db="off", wet_db=0.0
    )
    y = run(block, x, moving=moving)
    # values in the line add up to 1 / (1 - 0.9) at the very most; sqrt(1 - 0.9^2) of that is heard
    assert np.max(np.abs(y)) < 10.0 * 0.4359


@pytest.mark.parametrize("freq_hz", [110.0, 440.0, 1_760.0])
def test_ends_that_leap_step_no_further_than_the_sound_itself(freq_hz: float) -> None:
    frames = 2 * FS
    moving = {"longest_ms": np.where(np.arange(frames) < FS, 1.0, 20.0)}
    block = prepared("flanger", moving=moving, feedback_percent=0.0, dry_db="off", wet_db=0.0)
    x = 0.25 * np.sin(2.0 * np.pi * freq_hz / FS * np.arange(frames))[None]
    y = run(block, x, moving=moving)[0, FS // 2 :]
    assert np.max(np.abs(np.diff(y))) < 2.0 * 0.25 * 2.0 * np.pi * freq_hz / FS


def test_opposite_sides_meet_in_the_middle_of_the_sweep() -> None:
    ramp = np.arange(2.0 * FS)[None]
    block = prepared(
        "flanger", rate_hz=1.0, stereo_phase=0.5, feedback_percent=0.0, dry_db="off", wet_db=0.0, longest_ms=6.4
    )
    late = ramp - run(block, ramp)
    middle = 48.0 * np.sqrt(0.4 * 6.4)
    assert late[:, FS] == pytest.approx([48.0 * 6.4, 48.0 * 0.4], abs=0.01)
    assert late[:, FS + FS // 4] == pytest.approx([middle, middle], abs=0.01)


def test_rounds_are_counted_until_the_rest_is_under_the_floor() -> None:
    for feedback in (0.3, 0.7, 0.95):
        rounds = rounds_until(1e-4, feedback)
        rest = feedback ** np.arange(rounds, 3_000)  # the k-th time round has gain g^(k - 1)
        assert np.sum(rest) <= 1e-4 < np.sum(rest) / feedback
    assert rounds_until(1e-4, 0.0) == 1


def test_shortest_is_told_to_be_idle_through_zero() -> None:
    assert "shortest_ms" in prepared("flanger", through_zero=True).settings.idle()
    assert not prepared("flanger").settings.idle()
