"""How long a sound goes on after the playing."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.measure.ringing import RingingMeter

RATE_HZ = 48_000


def rung_s(x: np.ndarray, playing_frames: int, cuts: tuple[int, ...] = ()) -> float:
    meter = RingingMeter(RATE_HZ, x.shape[0], playing_frames)
    for part in np.split(x, cuts, axis=1):
        meter.add(np.ascontiguousarray(part))
    return meter.result()


@pytest.mark.parametrize("decay_s", [0.1, 0.5, 2.0])
def test_an_exponential_decay_rings_for_its_decay_time(decay_s: float) -> None:
    # -60 dB after the decay time, by its definition in ISO 3382-1.
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    playing = round(0.5 * RATE_HZ)
    level = np.where(t < 0.5, 1.0, 10.0 ** (-3.0 * (t - 0.5) / decay_s))
    x = (level * np.sin(2 * np.pi * 1000 * t))[np.newaxis]
    assert rung_s(x, playing) == pytest.approx(decay_s, abs=0.011)
    assert rung_s(x, playing, (1, 700, 31_234)) == rung_s(x, playing)


def test_what_ends_with_the_playing_does_not_ring() -> None:
    x = np.ones((2, 4_800))
    assert rung_s(x, 4_800) == 0.0
    assert rung_s(np.concatenate([x, np.zeros((2, 9_600))], axis=1), 4_800) == 0.0


def test_silence_has_no_tail() -> None:
    assert math.isnan(rung_s(np.zeros((1, 4_800)), 1_000))
    assert math.isnan(rung_s(np.zeros((1, 0)), 0))
