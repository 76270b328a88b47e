"""Partitioned convolution against the definition, which scipy computes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve

from chainsim.dsp.partitioned_convolution import HEAD, SIZES, PartitionedConvolution, Path

EXACT = 1e-10
"""Largest error relative to the peak: what the issue asks for; rounding of float64 leaves some 1e-15."""


def convolved(convolution: PartitionedConvolution, x: np.ndarray, outputs: int, n0: int, size: int) -> np.ndarray:
    """What comes out, in spans of `size`."""
    y = np.zeros((outputs, x.shape[1]))
    for a in range(0, x.shape[1], size):
        part = np.ascontiguousarray(x[:, a : a + size])
        w = np.zeros((outputs, part.shape[1]))
        convolution.add_to(n0 + a, part, w)
        y[:, a : a + size] = w
    return y


# The last tap in the head, at its end, in each kind of partition and at their edges.
@pytest.mark.parametrize("taps", [1, 5, HEAD, HEAD + 1, 1_000, SIZES[1] + 1, SIZES[2], SIZES[2] + 1, 40_001])
@pytest.mark.parametrize("n0", [0, 12_345])
def test_equals_scipy(taps: int, n0: int) -> None:
    rng = np.random.default_rng(taps)
    h, x = rng.standard_normal((1, taps)), rng.standard_normal((1, 30_000))
    convolution = PartitionedConvolution(h, [Path(0, 0, 0)], 1, 1)
    right = fftconvolve(x[0], h[0])[: x.shape[1]]
    y = convolved(convolution, x, 1, n0, 4_096)
    assert np.max(np.abs(y[0] - right)) < EXACT * np.max(np.abs(right))


def test_a_second_of_noise_through_two_seconds_in_any_spans() -> None:
    """Random h 1 s, x 2 s, spans of 64, 100 and 4096: the same bits, and as long as len(x) + len(h) - 1."""
    rng = np.random.default_rng(3)
    h, x = rng.standard_normal((1, 48_000)), rng.standard_normal((1, 96_000))
    right = fftconvolve(x[0], h[0])
    fed = np.hstack([x, np.zeros((1, 50_000))])
    convolution = PartitionedConvolution(h, [Path(0, 0, 0)], 1, 1)
    whole = convolved(convolution, fed, 1, 0, fed.shape[1])
    assert np.max(np.abs(whole[0, : right.size] - right)) < EXACT * np.max(np.abs(right))
    assert np.max(np.abs(whole[0, right.size :])) < EXACT * np.max(np.abs(right))
    for size in (64, 100, 4_096):
        convolution.reset()
        assert convolved(convolution, fed, 1, 0, size).tobytes() == whole.tobytes()


@pytest.mark.parametrize("silent", [0, 127, 128, 1_500, 20_000])
def test_an_impulse_comes_when_it_is_due(silent: int) -> None:
    h = np.zeros((1, silent + 1))
    h[0, silent] = 1.0
    x = np.random.default_rng(4).standard_normal((1, 24_000))
    y = convolved(PartitionedConvolution(h, [Path(0, 0, 0)], 1, 1), x, 1, 77, 700)
    assert np.max(np.abs(y[0, silent:] - x[0, : x.shape[1] - silent])) < 1e-14
    assert np.max(np.abs(y[0, :silent]), initial=0.0) < 1e-14
    assert silent or np.array_equal(y, x)  # through the head a single tap of 1 changes no bit


def test_each_path_goes_from_its_source_to_its_target() -> None:
    rng = np.random.default_rng(5)
    h, x = rng.standard_normal((3, 2_000)), rng.standard_normal((2, 9_000))
    paths = [Path(0, 0, 2), Path(1, 0, 0), Path(0, 1, 1), Path(0, 1, 0)]
    y = convolved(PartitionedConvolution(h, paths, 2, 2), x, 2, 0, 1_000)
    for o in range(2):
        right = sum(fftconvolve(x[p.source], h[p.response])[:9_000] for p in paths if p.target == o)
        assert np.max(np.abs(y[o] - right)) < EXACT * np.max(np.abs(right))
