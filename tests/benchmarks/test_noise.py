"""The noise block beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_000


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("colour", ["white", "pink"])
@pytest.mark.parametrize("channels", [1, 2])
def test_agrees_with_c(channels: int, colour: str) -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((channels, FRAMES))
    block = prepared("noise", channels=channels, colour=colour)
    level, hum_level = np.full(FRAMES, 0.1), np.full(FRAMES, 0.05)
    y, c_y = np.empty((2, channels, FRAMES))
    io = Io(0, FRAMES, {"in": x}, {}, Moving({"level_db": level, "hum_db": hum_level}), y, np.empty((0, FRAMES)))
    z, noise, hum = np.zeros_like(block._z), np.empty((channels, FRAMES)), np.empty(FRAMES)
    function = compile_c(Path(__file__).parent / "c" / "noise.c").noise

    def in_c() -> None:
        designs = (block._sections, len(block._sections), block._turns, block._sizes, block._sizes.size)
        call_c(function, block._seed, 0, x, channels, FRAMES, *designs, level, hum_level, z, noise, hum, c_y)

    block.process(io)
    in_c()
    assert np.max(np.abs(y - x)) > 0.1
    assert np.max(np.abs(y - c_y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"noise, {colour}, {channels} ch: {ours:.1f} ns a frame, C {theirs:.1f}, ratio {ours / theirs:.2f}")
