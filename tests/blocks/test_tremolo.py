"""The tremolo on its own: bits, sides, shapes, note values, no clicks."""

from __future__ import annotations

import numpy as np
import pytest

from tests.blocks.harness import prepared, run

FS = 48_000


def gain(frames: int = FS, **settings: object) -> np.ndarray:
    """What the level is multiplied with, channel by channel."""
    return run(prepared("tremolo", **settings), np.ones((1, frames)))  # type: ignore[arg-type]


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("shape", ["sine", "square", "sample and hold"])
def test_cuts_and_reset_leave_the_bits_alone(shape: str, channels: int) -> None:
    frames = 6_000
    x = np.random.default_rng(2).standard_normal((channels, frames))
    moving = {"depth": np.linspace(0.0, 1.0, frames)}
    bpm = np.repeat([120.0, 90.0], frames // 2)
    block = prepared(
        "tremolo", channels=channels, moving=moving, shape=shape, note="1/32", stereo_phase=0.3, tempo_bpm=bpm
    )
    whole = run(block, x, moving=moving, tempo_bpm=bpm)
    assert whole.shape[0] == 2
    for size in (1, 7, 64, 509):
        block.reset()
        cut = run(block, x, moving=moving, tempo_bpm=bpm, cuts=range(size, frames, size))
        assert cut.tobytes() == whole.tobytes()


def test_without_depth_every_bit_passes() -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    assert run(prepared("tremolo", channels=2, depth=0.0), x).tobytes() == x.tobytes()


def test_opposite_sides_add_up_to_the_straight_sound() -> None:
    y = gain(rate_hz=4.0, depth=0.9, stereo_phase=0.5)
    assert np.max(y[0]) > 1.89
    assert np.max(np.abs(y.sum(axis=0) - 2.0)) < 1e-6


def test_a_lagging_side_is_the_other_one_later() -> None:
    y = gain(2 * FS, rate_hz=2.0, stereo_phase=0.25, depth=0.5)
    assert np.max(np.abs(y[1, 6_000:] - y[0, :-6_000])) < 1e-9  # a quarter of half a second


@pytest.mark.parametrize("shape", ["square", "saw", "sample and hold"])
def test_jumps_are_eased(shape: str) -> None:
    # 3 t^2 - 2 t^3 over 2 ms is at its steepest 1.5 of the whole way, at most 2, in 96 samples
    assert np.max(np.abs(np.diff(gain(shape=shape, rate_hz=3.0, depth=1.0)[0]))) < 1.01 * 2.0 * 1.5 / 96.0


def test_note_values_begin_on_the_beat() -> None:
    block = prepared("tremolo", shape="square", note="1/8", depth=0.5, tempo_bpm=[150.0])
    y = run(block, np.ones((1, FS)), tempo_bpm=150.0)[0]
    loud = y > 1.0
    begins = np.flatnonzero(loud[1:] & ~loud[:-1])
    # an eighth at 150 beats a minute is 9600 samples; half the way up is 1 ms later
    assert begins == pytest.approx([48, 9_600 + 48, 19_200 + 48, 28_800 + 48, 38_400 + 48], abs=1)


def test_the_phase_is_where_it_begins() -> None:
    assert gain(1, depth=0.5, phase=0.25)[0, 0] == pytest.approx(1.5, abs=1e-6)
    assert gain(1, depth=0.5, phase=0.75)[0, 0] == pytest.approx(0.5, abs=1e-6)
