"""The phaser beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_384


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("stages", [2, 6, 12])
def test_agrees_with_c(stages: int) -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((1, FRAMES))
    block = prepared("phaser", stereo_phase=0.25, stages=stages)
    rows = {
        "sweep_low_hz": np.full(FRAMES, 300.0),
        "sweep_high_hz": np.full(FRAMES, 1800.0),
        "feedback_percent": np.full(FRAMES, 30.0),
        "dry_db": np.full(FRAMES, 0.7),
        "wet_db": np.full(FRAMES, 0.7),
    }
    io = Io(0, FRAMES, {"in": x}, {}, Moving(rows), np.empty((2, FRAMES)), np.empty((0, FRAMES)))
    y = np.empty_like(io.y)
    turn, z, phases = np.empty((2, FRAMES)), np.zeros_like(block._z), np.array(block._phases)

    library = compile_c(Path(__file__).parent / "c" / "phaser.c")

    def by_c() -> None:
        sweep = (0, 0.25 / 48_000.0, 48_000.0, phases, rows["sweep_low_hz"], rows["sweep_high_hz"])
        mix = (rows["feedback_percent"], rows["dry_db"], rows["wet_db"])
        call_c(library.phaser, x, 1, 2, FRAMES, *sweep, *mix, stages, z, turn, y)

    block.process(io)
    by_c()
    assert np.max(np.abs(io.y - y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(by_c, FRAMES)
    print(f"phaser, {stages} stages, 2 ch: {ours:.2f} ns a frame, C {theirs:.2f}, ratio {ours / theirs:.2f}")
