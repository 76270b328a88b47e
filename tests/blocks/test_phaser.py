"""The phaser on its own: bits, sides, shapes, feedback, tails."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.dsp.allpass_chain import ring_cycles
from tests.blocks.harness import prepared, run

FS = 48_000


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("shape", ["sine", "sample and hold"])
def test_cuts_and_reset_leave_the_bits_alone(shape: str, channels: int) -> None:
    frames = 6_000
    x = np.random.default_rng(2).standard_normal((channels, frames))
    moving = {
        "sweep_low_hz": np.geomspace(100.0, 900.0, frames),
        "sweep_high_hz": np.repeat([500.0, 10_000.0, 1_000.0], frames // 3),
        "feedback_percent": np.linspace(-90.0, 90.0, frames),
    }
    block = prepared("phaser", channels=channels, moving=moving, rate_hz=9.0, stereo_phase=0.25, shape=shape, stages=7)
    whole = run(block, x, moving=moving)
    assert whole.shape[0] == 2
    for size in (1, 7, 64, 509):
        block.reset()
        assert run(block, x, moving=moving, cuts=range(size, frames, size)).tobytes() == whole.tobytes()


def test_wet_off_passes_bit_by_bit() -> None:
    x = np.random.default_rng(1).standard_normal((2, 3_000))
    assert run(prepared("phaser", channels=2, wet_db="off", dry_db=0.0), x).tobytes() == x.tobytes()


@pytest.mark.parametrize("stereo_phase", [0.25, 0.5])
def test_a_lagging_side_sweeps_later(stereo_phase: float) -> None:
    x = np.tile(np.random.default_rng(5).standard_normal(FS // 4), 12)[None]  # repeats with every quarter of a turn
    y = run(prepared("phaser", rate_hz=1.0, stereo_phase=stereo_phase), x)
    late = round(stereo_phase * FS)
    assert np.max(np.abs(y[1, FS + late :] - y[0, FS:-late])) < 1e-6
    assert np.max(np.abs(y[1] - y[0])) > 0.1


@pytest.mark.parametrize(("stages", "feedback"), [(1, 0.0), (2, 0.9), (6, -0.6), (12, 0.9)])
def test_what_rings_on_is_under_the_floor_in_time(stages: int, feedback: float) -> None:
    found = ring_cycles(stages, feedback, 1e-4)
    if stages == 1:
        # (1 - p) / (1 + p) leaves 2 exp(-2 pi fc t) of a sound of size 1 behind: ln(2e4) / (2 pi) periods
        assert found == pytest.approx(math.log(2e4) / (2.0 * math.pi), abs=0.03)
        return
    block = prepared("phaser", sweep_low_hz=500.0, sweep_high_hz=500.0, stages=stages,
                     feedback_percent=100.0 * feedback, dry_db="off", wet_db=0.0)  # fmt: skip
    x = np.zeros((1, 6 * FS))
    x[0, :FS] = np.sign(np.sin(2.0 * np.pi * 40.0 / FS * np.arange(FS)))
    y = np.abs(run(block, x)[0, FS:])
    ends = (np.flatnonzero(y > 1e-4)[-1] + 1) / FS * 500.0
    assert 0.5 * found < ends <= found


def test_a_sweep_that_jumps_does_not_click() -> None:
    t = np.arange(2 * FS) / FS
    x = 0.25 * np.sin(2.0 * np.pi * 440.0 * t)[None]
    y = run(prepared("phaser", shape="sample and hold", rate_hz=8.0, feedback_percent=50.0), x)[0, FS // 10 :]
    spectrum = np.abs(np.fft.rfft(y * np.hanning(y.size))) ** 2
    hz = np.fft.rfftfreq(y.size, 1.0 / FS)
    # eased over 2 ms, a jump bends the sound by some hundred Hz and leaves what lies ten times as high alone
    assert 10.0 * math.log10(np.sum(spectrum[hz > 5_000.0]) / np.sum(spectrum)) < -60.0
