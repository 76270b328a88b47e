"""The chorus beside its plain C reference."""

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
@pytest.mark.parametrize("channels", [1, 2])
def test_agrees_with_c(channels: int) -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((channels, FRAMES))
    block = prepared("chorus", channels=channels, voices=4)
    rows = {"depth_ms": np.full(FRAMES, 1.2), "dry_db": np.full(FRAMES, 1.0), "wet_db": np.full(FRAMES, 0.5)}
    io = Io(0, FRAMES, {"in": x}, {}, Moving(rows), np.empty((2, FRAMES)), np.empty((0, FRAMES)))
    y = np.empty_like(io.y)
    delays, z = np.empty((4, FRAMES)), np.full(4, np.nan)
    ring, head = np.zeros_like(block._ring), np.zeros(1, np.int64)
    phases = np.array(block._phases)

    library = compile_c(Path(__file__).parent / "c" / "chorus.c")

    def by_c() -> None:
        lfo = (0, 0.6 / 48_000.0, 48_000.0, phases, 4, rows["depth_ms"], block._centres, 0.35, block._seed)
        mix = (block._gains, rows["dry_db"], rows["wet_db"])
        line = (z, delays, ring, ring.shape[1] - 8, head, y)
        call_c(library.chorus, x, channels, 2, FRAMES, *lfo, *mix, *line)

    block.process(io)
    by_c()
    assert np.max(np.abs(io.y - y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(by_c, FRAMES)
    print(f"chorus of 4, {channels} ch: {ours:.2f} ns a frame, C {theirs:.2f}, ratio {ours / theirs:.2f}")
