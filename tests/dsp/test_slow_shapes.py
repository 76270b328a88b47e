"""Envelopes, slow oscillators and numbers by place, against their closed forms and a reference sequence."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.dsp.adsr import adsr, adsr_coefficients
from chainsim.dsp.hashed_noise import hashed, white_noise
from chainsim.dsp.lfo import SHAPES, lfo

FS = 48_000.0


def envelope(start_at: list[int], held: int, frames: int, **times: float) -> np.ndarray:
    """An envelope begun at some samples and held until one."""
    start, sounding, y = np.zeros(frames), np.zeros(frames), np.empty(frames)
    start[start_at] = 1.0
    sounding[start_at[0] : held] = 1.0
    adsr(start, sounding, adsr_coefficients(**times, sample_rate_hz=FS), np.zeros(2), y)
    return y


def test_each_part_of_the_envelope_takes_its_time() -> None:
    times = {"attack_ms": 20.0, "decay_ms": 50.0, "sustain": 0.25, "release_ms": 30.0}
    y = envelope([100], 48_100, 96_000, **times)
    top = int(np.argmax(y))
    assert y[top] == 1.0
    assert top - 100 == pytest.approx(0.020 * FS, abs=2)
    # After 50 ms of decay 1/e of the way from 1 to 0.25 is left; after 30 ms of release 1/e of the sustain.
    assert y[top + 2_400] == pytest.approx(0.25 + 0.75 / math.e, abs=1e-3)
    assert y[48_099] == pytest.approx(0.25, abs=1e-6)
    assert y[48_099 + 1_440] == pytest.approx(0.25 / math.e, abs=1e-4)


def test_new_attack_goes_on_from_where_it_is() -> None:
    times = {"attack_ms": 20.0, "decay_ms": 50.0, "sustain": 0.25, "release_ms": 30.0}
    y = envelope([0, 9_600], 19_200, 19_200, **times)
    assert np.abs(np.diff(y)).max() <= (1.0 - math.exp(-1.0 / (0.020 * FS))) * 1.6
    assert y[9_600:].max() == 1.0


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("synced", [False, True])
def test_slow_shapes(shape: str, synced: bool) -> None:
    frames = 96_000
    tempo = np.stack([np.full(frames, 120.0), np.arange(frames) * 2.0 / FS])
    y = np.empty(frames)
    lfo(0, tempo, 0.0 if synced else 2.0 / FS, 1.0 if synced else 0.0, FS, SHAPES.index(shape), 7, y)
    turns = np.arange(frames) * 2.0 / FS
    at = turns % 1.0
    clear = (at > 0.01) & (np.abs(at - 0.5) > 0.01) & (at < 0.99)
    expected = {
        "sine": np.sin(2.0 * np.pi * turns),
        "triangle": 2.0 / np.pi * np.arcsin(np.sin(2.0 * np.pi * turns)),
        "saw": 2.0 * at - 1.0,
        "square": np.where(at < 0.5, 1.0, -1.0),
        "sample and hold": np.array([hashed(7, int(k)) for k in np.floor(turns[::24_000])]).repeat(24_000),
    }[shape]
    assert np.abs((y - expected)[clear]).max() < 1e-6
    # A jump of 2 over 2 ms by 3 t^2 - 2 t^3 is steepest in its middle: 1.5 of its mean slope.
    assert np.abs(np.diff(y)).max() < 2.0 * 1.5 / (0.002 * FS) + 1e-3


def test_numbers_are_those_of_splitmix64() -> None:
    # First outputs for the seed 1234567, as published with the algorithm's reference program.
    published = (6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431)
    for index, value in enumerate(published):
        assert hashed(1234567, index) == (value >> 11) * 2.0**-52 - 1.0


def test_noise_is_white_and_even() -> None:
    y = np.empty(1 << 17)
    white_noise(5, 0, y)
    part = np.empty(100)
    white_noise(5, 70_000, part)
    assert part.tobytes() == y[70_000:70_100].tobytes()
    n = y.size
    assert abs(y.mean()) < 5.0 / math.sqrt(3.0 * n)
    assert np.sqrt(np.mean(y**2)) == pytest.approx(1.0 / math.sqrt(3.0), rel=0.01)
    power = np.abs(np.fft.rfft(y)) ** 2
    bands = power[1:].reshape(64, -1).mean(axis=1) / power[1:].mean()
    # 1024 lines a band, each exponentially distributed: a standard deviation of 3 %.
    assert np.abs(bands - 1.0).max() < 5.0 / 32.0
