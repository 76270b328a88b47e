"""The tremolo beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from chainsim.dsp.lfo import SHAPES
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_384


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("shape", SHAPES[:4])
def test_agrees_with_c(shape: str) -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((1, FRAMES))
    block = prepared("tremolo", stereo_phase=0.5, shape=shape)
    rows = {"depth": np.full(FRAMES, 0.4)}
    io = Io(0, FRAMES, {"in": x}, {}, Moving(rows), np.empty((2, FRAMES)), np.empty((0, FRAMES)))
    y = np.empty_like(io.y)
    waves, tempo = np.empty((2, FRAMES)), np.zeros((2, 2, FRAMES))
    tempo[:, 1] = np.array(block._phases)[:, None]

    library = compile_c(Path(__file__).parent / "c" / "tremolo.c")

    def by_c() -> None:
        clock = (0, tempo, 5.0 / 48_000.0, 1.0, 48_000.0)
        call_c(library.tremolo, x, 1, 2, FRAMES, *clock, SHAPES.index(shape), rows["depth"], waves, y)

    block.process(io)
    by_c()
    assert np.max(np.abs(io.y - y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(by_c, FRAMES)
    print(f"tremolo, {shape}, 2 ch: {ours:.2f} ns a frame, C {theirs:.2f}, ratio {ours / theirs:.2f}")
