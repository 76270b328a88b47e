"""LFOs of blocks that sway: the same wave however it is reached, by rate or on the beat, from any phase."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.block import Io, Moving
from chainsim.blocks._lfo_motion import SweepRate, lfo_rows, side_phases
from chainsim.dsp.lfo import SHAPES, lfo

FS = 48_000.0
FRAMES = 30_000


def rows(settings: SweepRate, phases: list[float], n0: int = 0, bpm: float = 120.0) -> np.ndarray:
    """LFOs of the frames from n0 on."""
    beat = (n0 + np.arange(FRAMES)) * bpm / (60.0 * FS)
    control = {"tempo": np.stack([np.full(FRAMES, bpm), beat])}
    io = Io(n0, FRAMES, {}, control, Moving({}), np.empty((1, FRAMES)), np.empty((0, FRAMES)))
    return lfo_rows(settings, phases, io, FS, 7)


@pytest.mark.parametrize("shape", SHAPES)
def test_by_rate_it_is_the_wave_of_dsp(shape: str) -> None:
    expected = np.empty(FRAMES)
    lfo(500, np.zeros((2, FRAMES)), 3.0 / FS, 0.0, FS, SHAPES.index(shape), 7, expected)
    assert np.array_equal(rows(SweepRate(shape=shape, rate_hz=3.0), [0.0], 500)[0], expected)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_note_value_at_its_tempo_is_a_rate(shape: str) -> None:
    # a quarter at 90 beats a minute: 1.5 a second
    by_note = rows(SweepRate(shape=shape, note="1/4"), [0.0, 0.3], bpm=90.0)
    assert np.max(np.abs(by_note - rows(SweepRate(shape=shape, rate_hz=1.5), [0.0, 0.3]))) < 1e-6


@pytest.mark.parametrize("settings", [SweepRate(rate_hz=4.0, shape="triangle"), SweepRate(note="1/8")])
def test_a_phase_is_a_start_later_in_the_turn(settings: SweepRate) -> None:
    first, later = rows(settings, [0.0, 0.25])
    assert np.max(np.abs(later[:-3_000] - first[3_000:])) < 1e-6  # a quarter of a quarter second


def test_the_right_side_lags() -> None:
    assert side_phases(SweepRate(phase=0.75, stereo_phase=0.25), 2) == [0.75, 0.5]
