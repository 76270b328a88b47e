"""The ring modulator beside its plain C reference."""

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
def test_agrees_with_c() -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((2, FRAMES))
    block = prepared("ring_modulator", channels=2)
    rows = {
        "freq_hz": np.full(FRAMES, 180.0),
        "ratio": np.full(FRAMES, 0.5),
        "dry_db": np.full(FRAMES, 0.9),
        "wet_db": np.full(FRAMES, 0.4),
    }
    io = Io(0, FRAMES, {"in": x}, {}, Moving(rows), np.empty((2, FRAMES)), np.empty((0, FRAMES)))
    y = np.empty_like(io.y)
    phase = np.zeros(1)

    library = compile_c(Path(__file__).parent / "c" / "ring_modulator.c")

    def by_c() -> None:
        mix = (rows["freq_hz"], rows["dry_db"], rows["wet_db"], 48_000.0)
        call_c(library.ring_modulator, x, 2, FRAMES, *mix, phase, y)

    block.process(io)
    by_c()
    assert np.max(np.abs(io.y - y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(by_c, FRAMES)
    print(f"ring modulator, 2 ch: {ours:.2f} ns a frame, C {theirs:.2f}, ratio {ours / theirs:.2f}")
