"""The equalizer's cascade beside its plain C reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chainsim.dsp import biquad
from tests.benchmarks.bench import best_ns, call_c, compile_c, needs_cc

FRAMES = 16_384


@pytest.mark.bench
@needs_cc
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("bands", [2, 8])
def test_cascade_agrees_with_c(bands: int, channels: int) -> None:
    coefficients = biquad.sections([biquad.bell(200.0 * 1.7**k, 3.0, 1.0, 48_000.0) for k in range(bands)])
    x = np.random.default_rng(1).standard_normal((channels, FRAMES))
    ours, theirs = ((np.zeros((channels, bands, 2)), x.copy()) for _ in range(2))
    library = compile_c(Path(__file__).parent / "c" / "equalizer.c")

    def by_kernel() -> None:
        ours[1][:] = x
        biquad.biquad_df2t(coefficients, *ours)

    def by_c() -> None:
        theirs[1][:] = x
        call_c(library.equalizer, coefficients, bands, *theirs, channels, FRAMES)

    by_kernel()
    by_c()
    assert np.max(np.abs(ours[1] - theirs[1])) < 1e-9
    kernel_ns, c_ns = (best_ns(f, FRAMES * bands * channels) for f in (by_kernel, by_c))
    print(f"equalizer: {kernel_ns:.2f} ns a band and sample, C {c_ns:.2f}, ratio {kernel_ns / c_ns:.2f}")
