"""Sliding maxima and sums against scipy and numpy, in any cuts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d

from chainsim.dsp.sliding import sliding_max, sliding_sum

ROW = np.random.default_rng(7).exponential(size=1000) * (np.arange(1000) % 300 > 90)


def slid(kernel, width: int, row: np.ndarray, cuts: list[int]) -> np.ndarray:
    """A copy of the row after the kernel went over it in spans that end at the cuts."""
    ring, place, running = np.zeros(width + 1), np.zeros(1, np.int64), np.zeros(1)
    parts = [row[a:b].copy() for a, b in itertools.pairwise([0, *cuts, row.size])]
    for part in parts:
        kernel(part, ring, place, running)
    return np.concatenate(parts)


@pytest.mark.parametrize("width", [1, 2, 7, 64, 999, 2000])
def test_against_scipy_and_numpy(width: int) -> None:
    before = np.concatenate([np.zeros(width - 1), ROW])
    # scipy's window ends (width - 1) // 2 behind its middle
    highest = maximum_filter1d(before, width, mode="constant")[width // 2 :][: ROW.size]
    assert np.array_equal(slid(sliding_max, width, ROW, []), highest)
    sums = np.convolve(before, np.ones(width), "valid")
    assert slid(sliding_sum, width, ROW, []) == pytest.approx(sums, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("kernel", [sliding_max, sliding_sum])
def test_cuts_leave_the_bits_alone(kernel) -> None:  # type: ignore[no-untyped-def]
    for cuts in ([*range(1, 1000)], [*range(7, 1000, 7)], [0, 0, 333, 333]):
        assert slid(kernel, 37, ROW, cuts).tobytes() == slid(kernel, 37, ROW, []).tobytes()


def test_nothing_is_left_of_what_has_gone_by() -> None:
    row = np.concatenate([np.full(50, 1e12), np.full(50, 1.1e-3), np.zeros(100)])
    found = slid(sliding_sum, 30, row, [])
    assert found[90] == pytest.approx(30 * 1.1e-3, rel=1e-14)
    assert not found[130:].any()
