"""The ring modulator against the product of two sines, with a carrier of its own and with one that follows."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.blocks.harness import prepared
from tests.blocks.harness import run as run_plain
from tests.blocks.scripted_pitch import Script, play, ready

FS = 48_000
WET = {"dry_db": "off", "wet_db": 0.0}


def test_every_partial_becomes_two_and_the_power_stays() -> None:
    t = np.arange(FS) / FS
    x = (0.5 * np.sin(2.0 * np.pi * 440.0 * t) + 0.2 * np.sin(2.0 * np.pi * 1_320.0 * t))[None]
    y = run_plain(prepared("ring_modulator", freq_hz=150.0, **WET), x)[0]
    line = np.abs(np.fft.rfft(y)) * 2.0 / FS
    # sqrt(2) sin a sin b = (cos(a - b) - cos(a + b)) / sqrt(2)
    for hz, size in ((290, 0.5), (590, 0.5), (1_170, 0.2), (1_470, 0.2)):
        assert line[hz] == pytest.approx(size / math.sqrt(2.0), abs=1e-6)
    assert np.sort(line)[-5] < 1e-6
    assert np.mean(y**2) == pytest.approx(np.mean(x**2), rel=1e-6)


@pytest.mark.parametrize(("ratio", "expected_hz"), [(0.5, [110, 330]), (1.5, [110, 550]), (2.0, [220, 660])])
def test_a_carrier_that_follows_keeps_its_ratio_to_the_note(ratio: float, expected_hz: list[int]) -> None:
    script = Script().note(220.0, 1.5)
    block = ready("ring_modulator", follows="pitch", ratio=ratio, **WET)
    y = play(block, script.track, script.horn)[0, -FS:]
    line = np.abs(np.fft.rfft(y))
    assert sorted(np.argsort(line)[-2:].tolist()) == expected_hz  # |1 - r| f0 and (1 + r) f0
