"""The vibrato beside its plain C reference."""

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
    block = prepared("vibrato", channels=channels)
    rows = {"depth_cents": np.full(FRAMES, 25.0)}
    io = Io(0, FRAMES, {"in": x}, {}, Moving(rows), np.empty((channels, FRAMES)), np.empty((0, FRAMES)))
    y = np.empty_like(io.y)
    delays, tempo = np.empty(FRAMES), np.zeros((2, FRAMES))
    z_depth, z_slew = np.full((2, 1), np.nan)
    ring, head = np.zeros_like(block._ring), np.zeros(1, np.int64)

    library = compile_c(Path(__file__).parent / "c" / "vibrato.c")

    def by_c() -> None:
        lfo = (0, tempo, block._per_sample, 0.0, 48_000.0, 0, rows["depth_cents"], block.latency_samples, block._keep)
        line = (ring, ring.shape[1] - 8, head, y)
        call_c(library.vibrato, x, channels, FRAMES, *lfo, z_depth, z_slew, delays, *line)

    block.process(io)
    by_c()
    assert np.max(np.abs(io.y - y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(by_c, FRAMES)
    print(f"vibrato, {channels} ch: {ours:.2f} ns a frame, C {theirs:.2f}, ratio {ours / theirs:.2f}")
