"""Partitioned convolution beside its plain C reference, and how fast a long response runs."""

from __future__ import annotations

from pathlib import Path as FilePath

import numpy as np
import pytest

from chainsim.dsp.partitioned_convolution import (
    HEAD,
    PIECE,
    SIZES,
    PartitionedConvolution,
    Path,
    convolve_head,
    convolve_stage,
)
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc

FRAMES = 16_384
C_FILE = FilePath(__file__).parent / "c" / "convolver.c"


@pytest.mark.bench
@needs_cc
def test_head_agrees_with_c() -> None:
    rng = np.random.default_rng(1)
    x, h = rng.standard_normal((1, FRAMES)), rng.standard_normal((1, HEAD))
    paths, line, c_line = np.zeros((1, 3), np.int64), np.zeros((1, HEAD + PIECE)), np.zeros(HEAD + PIECE)
    w, y = np.zeros((1, FRAMES)), np.zeros(FRAMES)
    function = compile_c(C_FILE).convolve_head
    convolve_head(x, h, paths, line, w)
    call_c(function, x, FRAMES, h, c_line, y)
    assert np.max(np.abs(w[0] - y)) < 1e-11
    ours = best_ns(lambda: convolve_head(x, h, paths, line, w), FRAMES)
    theirs = best_ns(lambda: call_c(function, x, FRAMES, h, c_line, y), FRAMES)
    print(f"convolver, head: {ours:.2f} ns a sample, C {theirs:.2f}, ratio {ours / theirs:.2f}")


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("size", SIZES)
def test_partitions_agree_with_c(size: int) -> None:
    rng = np.random.default_rng(2)
    x, h = rng.standard_normal((1, FRAMES)), rng.standard_normal((1, min(8 * size, 144_000)))
    kept, other = (PartitionedConvolution(h, [Path(0, 0, 0)], 1, 1)._stages[SIZES.index(size)] for _ in range(2))
    w, y = np.zeros((1, FRAMES)), np.zeros(FRAMES)
    function = compile_c(C_FILE).convolve_stage
    spectra = (other.x_re, other.x_im, other.h_re, other.h_im, other.table, np.zeros((4, size)))
    state = (other.newest, other.line, *spectra, other.sum_re, other.sum_im, other.pending)

    def by_c() -> None:
        call_c(function, x, FRAMES, size, other.h_re.shape[1], *state, y)

    convolve_stage(0, x, kept, w)
    by_c()
    assert np.max(np.abs(w[0] - y)) < 1e-9
    assert np.any(y)
    ours, theirs = best_ns(lambda: convolve_stage(0, x, kept, w), FRAMES), best_ns(by_c, FRAMES)
    print(f"convolver, partitions of {size}: {ours:.2f} ns a sample, C {theirs:.2f}, ratio {ours / theirs:.2f}")


@pytest.mark.bench
def test_three_seconds_of_response() -> None:
    rng = np.random.default_rng(3)
    x, h = rng.standard_normal((1, FRAMES)), rng.standard_normal((1, 144_000))
    convolution, w = PartitionedConvolution(h, [Path(0, 0, 0)], 1, 1), np.zeros((1, FRAMES))
    begin = iter(range(0, 1_000 * FRAMES, FRAMES))
    ns = best_ns(lambda: convolution.add_to(next(begin), x, w), FRAMES, 40)
    assert np.any(w)
    print(f"convolver, a response of 3 s at 48 kHz, mono: {ns:.0f} ns a sample, {1e9 / 48_000 / ns:.0f} x real time")
