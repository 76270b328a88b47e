"""The tremolo against the identity of amplitude modulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.blocks.harness import prepared, run

FS = 48_000


def test_sidebands_and_extremes_of_half_a_depth() -> None:
    x = np.sin(2.0 * np.pi * 1_000.0 / FS * np.arange(FS))[None]
    y = run(prepared("tremolo", rate_hz=5.0, depth=0.5), x)[0]
    line = np.abs(np.fft.rfft(y)) * 2.0 / FS
    assert line[1_000] == pytest.approx(1.0, abs=1e-6)
    for hz in (995, 1_005):
        assert 20.0 * math.log10(line[hz]) == pytest.approx(-12.04, abs=0.005)  # m / 2
    assert np.sort(line)[-4] < 1e-6
    gain = run(prepared("tremolo", rate_hz=5.0, depth=0.5), np.ones((1, FS)))[0]
    assert 20.0 * math.log10(gain.min()) == pytest.approx(-6.02, abs=0.005)  # 1 - m
    assert 20.0 * math.log10(gain.max()) == pytest.approx(3.52, abs=0.005)  # 1 + m


def test_power_grows_by_half_the_depth_squared() -> None:
    gain = run(prepared("tremolo", rate_hz=5.0, depth=0.8), np.ones((1, FS)))[0]
    assert np.mean(gain**2) == pytest.approx(1.0 + 0.8**2 / 2.0, abs=1e-6)
