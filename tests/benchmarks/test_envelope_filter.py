"""The envelope filter beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.block import Io, Moving
from chainsim.dsp.svf import RESPONSES
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc
from tests.blocks.harness import prepared

FRAMES = 16_000


@needs_cc
@pytest.mark.bench
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("response", RESPONSES)
def test_agrees_with_c(response: str, channels: int) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(FRAMES) / 48_000.0
    note = 0.5 * np.abs(np.sin(2.0 * np.pi * 4.0 * t)) * np.sin(2.0 * np.pi * 220.0 * t)
    x = note + 0.01 * rng.standard_normal((channels, FRAMES))
    block = prepared("envelope_filter", channels=channels, response=response)
    low_hz, high_hz, q, sensitivity = (np.full(FRAMES, v) for v in (300.0, 2500.0, 4.0, 2.0))
    y, told, c_y, c_cutoff, a = (np.empty((rows, FRAMES)) for rows in (channels, 1, channels, 1, 3))
    rows = {"sweep_low_hz": low_hz, "sweep_high_hz": high_hz, "q": q, "sensitivity_db": sensitivity}
    io = Io(0, FRAMES, {"in": x, "detector": x}, {}, Moving(rows), y, told)
    z_follow, rest, z = (np.zeros_like(s) for s in (block._z_follow, block._rest, block._z))
    function = compile_c(Path(__file__).parent / "c" / "envelope_filter.c").envelope_filter

    def in_c() -> None:
        scalars = (FRAMES, channels, channels, 48_000.0, block._attack, block._release, block._hold)
        kind = (0, RESPONSES.index(response), 1)
        call_c(function, x, x, low_hz, high_hz, q, sensitivity, *scalars, *kind, a, z_follow, rest, z, c_y, c_cutoff)

    block.process(io)
    in_c()
    assert told.max() - told.min() > 1000.0
    assert np.max(np.abs(y - c_y)) < 1e-9
    assert np.max(np.abs(told / c_cutoff - 1.0)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(f"envelope_filter, {channels} ch: {ours:.2f} ns, C {theirs:.2f} ns a sample, ratio {ours / theirs:.2f}")
