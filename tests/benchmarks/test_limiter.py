"""The limiter beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from chainsim.dsp.true_peak_bound import EDGE_HOLD
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_000


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize("channels", [1, 2])
def test_agrees_with_c(channels: int) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(FRAMES) / 48_000.0
    note = np.where(np.modf(t / 0.15)[0] < 0.4, 3.0, 0.3) * np.sin(2.0 * np.pi * 220.0 * t)
    x = note + 0.01 * rng.standard_normal((channels, FRAMES))
    block = prepared("limiter", channels=channels)
    y, told, c_y, c_gain = (np.empty((rows, FRAMES)) for rows in (channels, 1, channels, 1))
    io = Io(0, FRAMES, {"in": x}, {}, Moving({}), y, told)
    joined = np.concatenate([block._before, x], axis=1)
    rings = [np.zeros_like(r) for r in (block._held, block._first, block._second)]
    counted = [part for ring in rings for part in (ring, ring.size - 1)]
    own = (block._z_bound, block._counts, block._scratch, block._places, block._running, block._z)
    state = [np.zeros_like(s) for s in own]
    function = compile_c(Path(__file__).parent / "c" / "limiter.c").limiter

    def in_c() -> None:
        shape = (FRAMES, channels, block._ahead, block._start)
        times = (EDGE_HOLD, block._ceiling, block._release)
        call_c(function, joined, *shape, block._taps, *times, *counted, *state, c_y, c_gain)

    block.process(io)
    in_c()
    assert told.min() < 0.5
    assert np.max(np.abs(y - c_y)) < 1e-9
    assert np.max(np.abs(told - c_gain)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"limiter, {channels} ch: {ours:.2f} ns, C {theirs:.2f} ns a sample, ratio {ours / theirs:.2f}")
