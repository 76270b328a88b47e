"""The compressor beside its plain C reference."""

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
@pytest.mark.parametrize("detector", ["peak", "rms"])
def test_agrees_with_c(channels: int, detector: str) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(FRAMES) / 48_000.0
    note = np.where(np.modf(t / 0.15)[0] < 0.4, 0.6, 0.02) * np.sin(2.0 * np.pi * 220.0 * t)
    x = note + 1e-3 * rng.standard_normal((channels, FRAMES))
    block = prepared("compressor", channels=channels, detector=detector, release_ms=20.0, dry_db=-12.0, make_up_db=3.0)
    values = {"threshold_db": -24.0, "ratio": 3.0, "make_up_db": 10.0**0.15, "dry_db": 10.0**-0.6, "wet_db": 1.0}
    rows = {name: np.full(FRAMES, value) for name, value in values.items()}
    y, told, c_y, c_gain = (np.empty((rows, FRAMES)) for rows in (channels, 1, channels, 1))
    io = Io(0, FRAMES, {"in": x, "detector": x}, {}, Moving(rows), y, told)
    own = (block._rings, block._places, block._running, block._z_cut, block._z, block._rest)
    state = [np.zeros_like(s) for s in own]
    window = block._rings.shape[2] - 1 if detector == "rms" else 0
    function = compile_c(Path(__file__).parent / "c" / "compressor.c").compressor

    def in_c() -> None:
        scalars = (FRAMES, channels, channels, block._cut, 6.0, window, block._hold, block._attack, block._release)
        call_c(function, x, x, *rows.values(), *scalars, *state, c_y, c_gain)

    block.process(io)
    in_c()
    assert told.min() < 0.3
    assert told[0, 7000] > 2.0 * told.min()  # between two notes
    assert np.max(np.abs(y - c_y)) < 1e-9
    assert np.max(np.abs(told - c_gain)) < 1e-9
    ours, theirs = best_ns(lambda: block.process(io), FRAMES), best_ns(in_c, FRAMES)
    print(
        f"compressor, {detector}, {channels} ch: {ours:.2f} ns, C {theirs:.2f} ns a sample, ratio {ours / theirs:.2f}"
    )
