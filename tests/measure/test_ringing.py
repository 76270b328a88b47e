"""How long a sound goes on after the playing."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest

from chainsim.measure.ringing import RingingMeter

RATE_HZ = 48_000


def rung_s(x: np.ndarray, playing_frames: int, cuts: tuple[int, ...] = (), rate_hz: int = RATE_HZ) -> float:
    meter = RingingMeter(rate_hz, x.shape[0], playing_frames)
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


def test_it_keeps_nothing_of_the_playing() -> None:
    def kept_bytes(seconds: int) -> int:
        meter = RingingMeter(1_000, 1, seconds * 1_000)
        for _ in range(seconds + 2):
            meter.add(np.ones((1, 1_000)))
        assert meter.result() == 2.0
        return len(pickle.dumps(meter))

    assert kept_bytes(600) == pytest.approx(kept_bytes(10), abs=8)


@pytest.mark.parametrize("playing", [1_003, 1_010, 1_500, 5_000])
def test_the_loudest_may_come_before_or_after(playing: int) -> None:
    # 80 dB apart: only the loud half counts. At 1 kHz a block is 10 frames.
    x = np.full((1, 2_000), 1e-4)
    x[:, :1_000] = 1.0
    assert rung_s(x, playing, rate_hz=1_000) == 0.0
    assert rung_s(x[:, ::-1].copy(), playing, rate_hz=1_000) == max(0.0, (2_000 - playing) / 1_000)
