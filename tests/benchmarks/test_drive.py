"""The drive beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from chainsim.dsp.waveshaping import SHAPES
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_000


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize("quality", ["fine", "fast"])
@pytest.mark.parametrize("shape", SHAPES)
def test_agrees_with_c(shape: str, quality: str) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(FRAMES) / 48_000.0
    channels = 1
    note = 0.5 * np.abs(np.sin(2.0 * np.pi * 4.0 * t)) * np.sin(2.0 * np.pi * 220.0 * t)
    x = note + 0.01 * rng.standard_normal((channels, FRAMES))
    block = prepared("drive", channels=channels, shape=shape, quality=quality)
    values = {"drive_db": 15.0, "low_cut_hz": 60.0, "high_cut_hz": 9_000.0, "tone_hz": 6_000.0}
    rows = {name: np.full(FRAMES, v) for name, v in {**values, "dry_db": 0.5, "wet_db": 1.0}.items()}
    y, v, c_y = (np.empty((channels, FRAMES)) for _ in range(3))
    io = Io(0, FRAMES, {"in": x}, {}, Moving(rows), y, np.empty((0, FRAMES)))
    s = block._stages
    ring, head, z_in, z_out, lines, wide, z = (
        np.zeros_like(state) for state in (block._ring, block._head, block._z_in, block._z_out, s.lines, s.wide, s.z)
    )
    function = compile_c(Path(__file__).parent / "c" / "drive.c").drive

    def in_c() -> None:
        state = ring, ring.shape[1], head, z_in, z_out
        filters = s.g, s.pairs, s.odd, s.pairs.size, s.g.shape[1], s.h, s.h.shape[1], lines, lines.shape[3], wide, z
        curve = block._shape, block._bias, *filters, block._makeup, block._makeup.size, block._offset_cut_hz
        call_c(function, x, *rows.values(), FRAMES, channels, block._held, 48_000.0, *state, *curve, v, c_y)

    block.process(io)
    in_c()
    assert np.abs(y).max() > 0.1
    assert np.max(np.abs(y - c_y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"drive, {shape}, {quality}: {ours:.1f} ns, C {theirs:.1f} ns a sample, ratio {ours / theirs:.2f}")
