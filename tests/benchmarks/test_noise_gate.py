"""The noise gate beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_000


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("look_ahead_ms", [0.0, 3.0])
def test_agrees_with_c(channels: int, look_ahead_ms: float) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(FRAMES) / 48_000.0
    note = np.where(np.modf(t / 0.15)[0] < 0.4, 0.3, 0.0) * np.sin(2.0 * np.pi * 220.0 * t)
    x = note + 1e-4 * rng.standard_normal((channels, FRAMES))
    settings = {"threshold_db": -40.0, "look_ahead_ms": look_ahead_ms, "hold_ms": 5.0, "release_ms": 20.0}
    block = prepared("noise_gate", channels=channels, **settings)
    threshold_db, floor = np.full(FRAMES, -40.0), np.full(FRAMES, 0.001)
    y, told, c_y, c_gain = (np.empty((rows, FRAMES)) for rows in (channels, 1, channels, 1))
    rows = Moving({"threshold_db": threshold_db, "floor_db": floor})
    io = Io(0, FRAMES, {"in": x, "detector": x}, {}, rows, y, told)
    state = [np.zeros_like(s) for s in (block._ring, block._head, block._z_cut, block._z, block._counts)]
    ring, head, z_cut, z, counts = state
    function = compile_c(Path(__file__).parent / "c" / "noise_gate.c").noise_gate

    def in_c() -> None:
        scalars = (FRAMES, channels, channels, block._ratio, block._cut, block._window, block._attack, block._release)
        delay = (block._hold, ring.shape[1])
        call_c(function, x, x, threshold_db, floor, *scalars, *delay, ring, head, z_cut, z, counts, c_y, c_gain)

    block.process(io)
    in_c()
    assert told.min() < 0.5 < told.max() == 1.0
    assert np.max(np.abs(y - c_y)) < 1e-9
    assert np.max(np.abs(told - c_gain)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"noise_gate, {channels} ch: {ours:.2f} ns, C {theirs:.2f} ns a sample, ratio {ours / theirs:.2f}")
