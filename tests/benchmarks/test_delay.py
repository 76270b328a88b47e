"""The echo loop beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.dsp.delay_line import ring_shape
from chainsim.dsp.echo_loop import echo_loop
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc

FRAMES = 16_384


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("crossed", [0, 1])
@pytest.mark.parametrize("reading", ["whole", "between", "moving", "crossfading"])
def test_echo_loop_agrees_with_c(reading: str, crossed: int) -> None:
    n = np.arange(FRAMES)
    reads = np.empty((3, FRAMES))
    reads[0] = {"whole": 900.0, "moving": 900.0 + 0.01 * n}.get(reading, 900.4)
    reads[1] = 1200.3
    reads[2] = 1.0 if reading != "crossfading" else n / FRAMES
    x = 0.3 * np.random.default_rng(1).standard_normal((2, FRAMES))
    rows = [np.full(FRAMES, v) for v in (80.0, 90.0, 7_000.0, 1.0, 0.5)]
    shape = ring_shape(2, 4_000.0)
    ours, theirs = ((np.zeros(shape), np.zeros(1, np.int64), np.zeros((2, 2)), np.empty((2, FRAMES))) for _ in range(2))

    def by_kernel() -> None:
        echo_loop(x, reads, *rows, crossed, 48_000.0, *ours)

    def by_c() -> None:
        ring, head, z, y = theirs
        call_c(library.delay, x, 2, FRAMES, reads, *rows, crossed, 48_000.0, ring, shape[1] - 8, head, z, y, 2)

    library = compile_c(Path(__file__).parent / "c" / "delay.c")
    by_kernel()
    by_c()
    assert np.max(np.abs(ours[3] - theirs[3])) < 1e-9
    kernel_ns, c_ns = best_ns(by_kernel, FRAMES), best_ns(by_c, FRAMES)
    print(f"delay, {reading}: {kernel_ns:.1f} ns a stereo frame, C {c_ns:.1f}, ratio {kernel_ns / c_ns:.2f}")
