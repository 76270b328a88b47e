"""Tempo, envelope, drives: rows that follow from their definitions."""

from __future__ import annotations

import numpy as np
import pytest

from chainsim.block import Block, Context, Io, Moving
from chainsim.settings import Spec
from chainsim.stage.drives import CURVES, OFF_DB, Drive, shape_position
from chainsim.stage.envelope import Envelope, EnvelopeSettings
from chainsim.stage.tempo import Tempo, TempoSettings

RATE_HZ = 8_000.0


def rows(block: Block, frames: int, x: np.ndarray | None = None) -> np.ndarray:
    """Run a control block over so many frames."""
    block.prepare(Context(RATE_HZ))
    y = np.full((len(block.rows), frames), np.nan)
    inputs = {} if x is None else {"in": x}
    block.process(Io(0, frames, inputs, {}, Moving({}), y, np.empty((0, frames))))
    return y


def test_the_beat_runs_on_through_a_change_of_tempo() -> None:
    bpm, beat = rows(Tempo(TempoSettings(changes=[[0.0, 120.0], [1.0, 60.0]])), 16_001)
    assert (bpm[7_999], bpm[8_000]) == (120.0, 60.0)
    # 2 beats in the first second at 120, then 1 in the next at 60
    assert [beat[n] for n in (0, 4_000, 8_000, 16_000)] == pytest.approx([0.0, 1.0, 2.0, 3.0], abs=1e-12)


@pytest.mark.parametrize(("peak_db", "position"), [(-50.0, 0.0), (-30.0, 0.5), (-10.0, 1.0), (0.0, 1.0), (-70.0, 0.0)])
def test_a_steady_tone_stands_where_its_peak_level_lies(peak_db: float, position: float) -> None:
    x = 10 ** (peak_db / 20) * np.sin(2 * np.pi * 500 * (np.arange(8_000) + 0.5) / RATE_HZ)
    (y,) = rows(Envelope(EnvelopeSettings(low_db=-50.0, high_db=-10.0)), 8_000, np.ascontiguousarray(x[None]))
    # the highest sample of 16 a period lies cos(pi/16) = 0.17 dB under the peak: 0.0042 of 40 dB
    assert y[-1] == pytest.approx(position, abs=0.005)
    assert np.ptp(y[-1_600:]) < 1e-3


@pytest.mark.parametrize(("curve", "middle"), [("linear", 0.5), ("log", np.log1p(4.5) / np.log(10.0)), ("s", 0.5)])
def test_curves_run_from_end_to_end(curve: str, middle: float) -> None:
    p, y = np.array([-1.0, 0.0, 0.5, 1.0, 2.0]), np.empty(5)
    shape_position(p, CURVES.index(curve), 10.0, 20.0, 0, y)
    assert y == pytest.approx([10.0, 10.0, 10.0 + 10.0 * middle, 20.0, 20.0], abs=1e-12)


def test_a_level_that_ends_in_off_arrives_at_silence() -> None:
    drive = Drive("b", "wet_db", -np.inf, 0.0)
    ends = drive.ends(Spec("wet_db", 0.0, "", "dB", -96.0, 24.0, True, "gain", may_be_off=True))
    assert ends == (OFF_DB, 0.0)
    y = np.empty(3)
    shape_position(np.array([0.0, 0.5, 1.0]), 0, *ends, 2, y)
    assert y == pytest.approx([0.0, 1e-3, 1.0], abs=1e-12)  # half way from -120 dB: -60 dB
