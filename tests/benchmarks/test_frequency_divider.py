"""The frequency divider beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from chainsim.blocks.frequency_divider import Q
from chainsim.dsp.frequency_division import rest
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_000


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize("channels", [1, 2])
def test_agrees_with_c(channels: int) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(FRAMES) / 48_000.0
    note = 0.5 * np.abs(np.sin(2.0 * np.pi * 4.0 * t)) * np.sin(2.0 * np.pi * 220.0 * t)
    x = note + 0.01 * rng.standard_normal((channels, FRAMES))
    block = prepared("frequency_divider", channels=channels)
    values = {"low_cut_hz": 60.0, "high_cut_hz": 300.0, "tone_hz": 500.0}
    gains = {"octave_down_db": 0.5, "two_octaves_down_db": 0.25, "dry_db": 1.0}
    rows = {name: np.full(FRAMES, v) for name, v in {**values, **gains}.items()}
    y, c_y = np.empty((2, channels, FRAMES))
    io = Io(0, FRAMES, {"in": x, "detector": x}, {}, Moving(rows), y, np.empty((0, FRAMES)))
    a, room, left = np.empty((3, FRAMES)), np.empty((5, FRAMES)), np.zeros(4, np.int64)
    z_divide, steps = rest()
    z = np.concatenate([np.zeros(16), z_divide, steps.ravel(), np.zeros(1)])
    function = compile_c(Path(__file__).parent / "c" / "frequency_divider.c").frequency_divider

    def in_c() -> None:
        follower = block._attack, block._release, block._hold
        divider = block.settings.hysteresis, block._threshold, block._offset_cut
        call_c(function, x, *rows.values(), FRAMES, channels, 48_000.0, Q, *follower, *divider, a, room, z, left, c_y)

    block.process(io)
    in_c()
    assert np.abs(y - x).max() > 0.1
    assert np.max(np.abs(y - c_y)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"frequency_divider, {channels} ch: {ours:.1f} ns, C {theirs:.1f} ns a sample, ratio {ours / theirs:.2f}")
