"""The phaser against closed forms: its allpasses, its notches, its loop without delay, and its energy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import bilinear, freqz

from chainsim.dsp.allpass_chain import MOST_STAGES, allpass_loop, sweep_allpasses
from tests.blocks.harness import prepared, run

FS = 48_000.0


def spectrum(frames: int = 48_000, **settings: object) -> np.ndarray:
    """Spectrum of the impulse response with the sweep at rest: bin k is k Hz."""
    x = np.zeros((1, frames))
    x[0, 0] = 1.0
    return np.fft.rfft(run(prepared("phaser", **settings), x)[0])  # type: ignore[arg-type]


def at_rest(freq_hz: float) -> dict[str, float]:
    """Settings of a sweep that stays where it is."""
    return {"sweep_low_hz": freq_hz, "sweep_high_hz": freq_hz}


def allpass(freq_hz: float) -> np.ndarray:
    """(1 - s / w) / (1 + s / w) by the bilinear transform, prewarped: another library's coefficients."""
    w = 2.0 * FS * math.tan(math.pi * freq_hz / FS)
    b, a = bilinear([-1.0 / w, 1.0], [1.0 / w, 1.0], FS)
    return freqz(b, a, np.arange(24_001), fs=FS)[1]


@pytest.mark.parametrize("stages", [2, 5, 6, 12])
@pytest.mark.parametrize("freq_hz", [200.0, 1_000.0, 9_000.0])
def test_wet_alone_changes_the_phase_and_nothing_else(freq_hz: float, stages: int) -> None:
    found = spectrum(stages=stages, feedback_percent=0.0, dry_db="off", wet_db=0.0, **at_rest(freq_hz))
    assert np.max(np.abs(20.0 * np.log10(np.abs(found)))) < 1e-9
    assert np.max(np.abs(found - allpass(freq_hz) ** stages)) < 1e-9


@pytest.mark.parametrize("feedback", [0.8, -0.6, 0.3])
@pytest.mark.parametrize("stages", [2, 6, 12])
def test_the_loop_has_no_delay_in_it(stages: int, feedback: float) -> None:
    levels = {"dry_db": -4.0, "wet_db": -2.0}
    found = spectrum(stages=stages, feedback_percent=100.0 * feedback, **levels, **at_rest(900.0))
    chain = allpass(900.0) ** stages
    wet = math.sqrt(1.0 - feedback**2) * chain / (1.0 - feedback * chain)
    assert np.max(np.abs(found - (10.0 ** (-4.0 / 20.0) + 10.0 ** (-2.0 / 20.0) * wet))) < 1e-7


@pytest.mark.parametrize(("stages", "ratios"), [(2, [1.0]), (4, [0.414214, 2.414214]), (6, [0.267949, 1.0, 3.732051])])
def test_notches_lie_where_the_chain_turns_by_odd_half_turns(stages: int, ratios: list[float]) -> None:
    # tan((2 m + 1) pi / (2 N)): tan 45; tan 22.5, 67.5; tan 15, 45, 75 degrees
    middle_hz = 800.0
    size = np.abs(spectrum(96_000, stages=stages, feedback_percent=0.0, dry_db=0.0, wet_db=0.0, **at_rest(middle_hz)))
    dips = np.flatnonzero((size[1:-1] < size[:-2]) & (size[1:-1] < size[2:])) + 1
    expected_hz = FS / math.pi * np.arctan(math.tan(math.pi * middle_hz / FS) * np.array(ratios))
    assert dips * 0.5 == pytest.approx(expected_hz, abs=0.5)
    assert np.max(size[dips]) < 0.01
    assert size[0] == pytest.approx(2.0, abs=1e-9)


def test_the_sweep_is_even_in_octaves() -> None:
    waves = np.linspace(-1.0, 1.0, 5)[None].copy()
    turn = np.empty((1, 5))
    sweep_allpasses(np.full(5, 250.0), np.full(5, 4_000.0), waves, FS, turn)
    hz = FS / math.pi * np.arctan((1.0 + turn[0]) / (1.0 - turn[0]))
    assert hz == pytest.approx([250.0, 500.0, 1_000.0, 2_000.0, 4_000.0], rel=1e-12)


def test_no_energy_comes_or_goes_however_the_frequency_jumps() -> None:
    rng = np.random.default_rng(5)
    x, turn = rng.standard_normal((1, 20_000)), rng.uniform(-0.9999, 0.9, (1, 20_000))
    zero, one, z, y = np.zeros(20_000), np.ones(20_000), np.zeros((1, MOST_STAGES)), np.empty((1, 20_000))
    allpass_loop(x, turn, zero, zero, one, 12, z, y)
    assert np.sum(y**2) + np.sum(z**2) == pytest.approx(np.sum(x**2), rel=1e-12)  # rotations keep it
    for feedback in (0.95, -0.95):
        z.fill(0.0)
        allpass_loop(x, turn, 100.0 * feedback * one, zero, one, 12, z, y)
        # small-gain theorem: the loop's norm is at most 1 / (1 - |k|)
        assert np.linalg.norm(y) <= np.linalg.norm(x) * math.sqrt(1.0 - feedback**2) / (1.0 - abs(feedback))
