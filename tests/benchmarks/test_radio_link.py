"""The radio link beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 48_000


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("channels", [1, 2])
def test_agrees_with_c(channels: int) -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((channels, FRAMES))
    block = prepared("radio_link", channels=channels, dropouts_per_minute=60.0)
    rate, least = np.full(FRAMES, 60.0), np.full(FRAMES, 0.01)
    y, c_y, told, gain = (
        np.empty((channels, FRAMES)),
        np.empty((channels, FRAMES)),
        np.empty((1, FRAMES)),
        np.empty(FRAMES),
    )
    rows = Moving({"dropouts_per_minute": rate, "dropout_db": least})
    io = Io(0, FRAMES, {"in": x}, {}, rows, y, told)
    z, state, ring, head = (np.zeros_like(s) for s in (block._z, block._state, block._ring, block._head))
    function = compile_c(Path(__file__).parent / "c" / "radio_link.c").radio_link

    def in_c() -> None:
        cuts = (block._cuts, len(block._cuts), rate, least, *block._lengths, block._rate_hz)
        call_c(function, block._seed, 0, x, channels, FRAMES, *cuts, z, state, ring, ring.shape[1], head, gain, c_y)

    block.process(io)
    in_c()
    assert told.min() == pytest.approx(0.01)
    assert np.max(np.abs(told[0] - gain)) < 1e-12
    assert np.max(np.abs(y - c_y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"radio_link, {channels} ch: {ours:.1f} ns a frame, C {theirs:.1f}, ratio {ours / theirs:.2f}")
