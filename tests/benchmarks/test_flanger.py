"""The flanger beside its plain C reference."""

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
@pytest.mark.parametrize("through_zero", [False, True])
def test_agrees_with_c(through_zero: bool) -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((1, FRAMES))
    block = prepared("flanger", stereo_phase=0.25, through_zero=through_zero)
    rows = {
        "shortest_ms": np.full(FRAMES, 0.4),
        "longest_ms": np.full(FRAMES, 4.0),
        "feedback_percent": np.full(FRAMES, 30.0),
        "dry_db": np.full(FRAMES, 0.7),
        "wet_db": np.full(FRAMES, 0.7),
    }
    io = Io(0, FRAMES, {"in": x}, {}, Moving(rows), np.empty((2, FRAMES)), np.empty((0, FRAMES)))
    y = np.empty_like(io.y)
    delays, z, phases = np.empty((2, FRAMES)), np.full(2, np.nan), np.array(block._phases)
    ring, straight, head = np.zeros_like(block._ring), np.zeros_like(block._ring), np.zeros(1, np.int64)

    library = compile_c(Path(__file__).parent / "c" / "flanger.c")

    def by_c() -> None:
        lfo = (0, 0.2 / 48_000.0, 48_000.0, phases, rows["shortest_ms"], rows["longest_ms"], block._late)
        mix = (rows["feedback_percent"], rows["dry_db"], rows["wet_db"])
        line = (z, delays, ring, straight, ring.shape[1] - 8, head, y)
        call_c(library.flanger, x, 1, 2, FRAMES, *lfo, *mix, *line)

    block.process(io)
    by_c()
    assert np.max(np.abs(io.y - y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(by_c, FRAMES)
    print(f"flanger, through zero {through_zero}: {ours:.2f} ns a frame, C {theirs:.2f}, ratio {ours / theirs:.2f}")
