"""The reverb beside its plain C reference."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chainsim.block import Block, Io, Moving
from chainsim.blocks.reverb import Reverb
from chainsim.dsp.fdn_reverb import DIFFUSION, SPRING_A
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared, run

FRAMES = 16_384


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("space", ["hall", "room", "plate", "spring"])
def test_reverb_agrees_with_c(space: str, channels: int) -> None:
    x = 0.3 * np.random.default_rng(1).standard_normal((channels, FRAMES))
    blocks = [prepared("reverb", channels=channels, space=space, low_ratio=1.3) for _ in range(2)]
    ours, theirs = np.empty((2, FRAMES)), np.empty((2, FRAMES))
    decay, dry, wet, width = (np.full(FRAMES, v) for v in (1.8, 1.0, 0.25, 0.9))
    rows = Moving({"decay_s": decay, "dry_db": dry, "wet_db": wet, "width": width})

    def by_kernel() -> None:
        blocks[0].process(Io(0, FRAMES, {"in": x}, {}, rows, ours, np.empty((0, FRAMES))))

    def by_c() -> None:
        call_c(library.reverb, 0, x, channels, FRAMES, dry, wet, width, theirs, gain, DIFFUSION, SPRING_A, *state)

    gain, state = designed(blocks[1], channels)
    library = compile_c(Path(__file__).parent / "c" / "reverb.c")
    by_kernel()
    by_c()
    assert np.max(np.abs(ours - theirs)) < 1e-9
    kernel_ns, c_ns = best_ns(by_kernel, FRAMES, 60), best_ns(by_c, FRAMES, 60)
    print(f"reverb, {space}, {channels} in: {kernel_ns:.1f} ns a frame, C {c_ns:.1f}, ratio {kernel_ns / c_ns:.2f}")


def designed(block: Block[Any], channels: int) -> tuple[float, list[np.ndarray | int]]:
    """Input gain of a block that stands still, and all its state as the C function takes it."""
    assert isinstance(block, Reverb)
    run(block, np.zeros((channels, 1)))  # designs the absorption filters, which a reset leaves alone
    gain = float(block._design[3])
    block.reset()
    tank, stretch, springs = block._tank, *block._spring_ring.shape[1:]
    return gain, [
        block._cuts,
        len(block._cuts),
        block._cut_z,
        block._diffusers,
        len(block._diffusers),
        block._diffuser_heads,
        block._diffuser_rings,
        block._diffuser_rings.shape[2],
        block._spring_head,
        block._spring_ring,
        stretch,
        springs,
        block._spring_waiting,
        block._spring_out,
        block._s,
        block._input_ring,
        block._input_ring.shape[1] // 2,
        block._taps,
        block._sources,
        block._tap_gains,
        tank.lengths,
        tank.starts,
        tank.heads,
        tank.rings,
        tank.filters,
        tank.turns,
        tank.waves,
        block._v,
        block._q,
    ]
