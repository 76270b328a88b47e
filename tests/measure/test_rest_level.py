"""The level in the rests on sounds whose truth is known."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from chainsim.errors import AudioError
from chainsim.measure.gaps import measure_gaps
from chainsim.measure.rest_level import RestMeter
from chainsim.units import Array

RATE_HZ = 48_000
RESTS_S = ((0.0, 0.5), (1.5, 2.0), (3.0, 4.0))


def db(level_db: float) -> float:
    return float(10.0 ** (level_db / 20.0))


def hiss(level_db: float = 0.0) -> Array:
    return db(level_db) * np.random.default_rng(3).standard_normal(4 * RATE_HZ)


def take(noise: Array) -> Array:
    """Notes of 440 Hz between the rests, over a noise."""
    t = np.arange(noise.size) / RATE_HZ
    return noise + 0.3 * np.sin(2.0 * np.pi * 440.0 * t) * (((t >= 0.5) & (t < 1.5)) | ((t >= 2.0) & (t < 3.0)))


def level(y: Array, rests_s: tuple[tuple[float, float], ...] = RESTS_S, latency_frames: int = 0) -> float:
    meter = RestMeter(RATE_HZ, 1, latency_frames)
    meter.add(np.ascontiguousarray(y[np.newaxis]))
    return meter.result(rests_s)


@pytest.mark.parametrize("noise_db", [-90.0, -60.0, -40.0])
def test_of_a_take_it_is_its_noise(noise_db: float) -> None:
    x = take(hiss(noise_db))
    gaps = measure_gaps(x, RATE_HZ)
    # As made; blocks of 2400 samples stray by 0.13 dB, and their median by less.
    assert level(x, gaps.noise_s) == pytest.approx(noise_db, abs=0.1)
    assert level(x, gaps.noise_s) == pytest.approx(gaps.noise_rms_dbfs, abs=0.1)


def test_what_rings_on_after_the_take_is_no_rest() -> None:
    """A sound goes on into silence: by itself its quietest place would be its end."""
    x = take(hiss(-60.0))
    fall = db(-20.0) * 10.0 ** (-3.0 * np.arange(4 * RATE_HZ) / RATE_HZ) * hiss()
    y = np.concatenate([x, fall, np.zeros(RATE_HZ)])
    assert level(y) == pytest.approx(-60.0, abs=0.1)
    assert measure_gaps(y, RATE_HZ).noise_rms_dbfs < -100.0


def test_the_quietest_rest_does_not_count_alone() -> None:
    """A gate that is shut in one of three rests: a quarter of the time."""
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    assert level(take(hiss(-60.0) * (t >= 0.5))) == pytest.approx(-60.0, abs=0.2)
    # Nor does the loudest: shut in the others.
    assert level(take(hiss(-60.0) * (t < 0.5))) == -math.inf


def test_the_end_of_a_note_and_the_first_of_what_rings_are_left_out() -> None:
    """Falls by 60 dB in 0.4 s from -20 dBFS behind each note, over a noise of -70 dBFS."""
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    rings = np.zeros(t.size)
    for at_s in (1.5, 3.0):
        rings += np.where(t >= at_s, db(-20.0) * 10.0 ** (-3.0 * (t - at_s) / 0.4), 0.0)
    assert level(take(hiss(-70.0) + rings * hiss())) == pytest.approx(-70.0, abs=0.3)


def test_a_sound_that_comes_late_is_read_as_late() -> None:
    late = 12_345
    y = np.concatenate([np.full(late, 0.5), take(hiss(-50.0))])
    assert level(y, latency_frames=late) == pytest.approx(-50.0, abs=0.1)


def test_digital_silence_of_a_take_says_nothing_of_its_noise() -> None:
    """Zeros at the ends of a file are no rest while others tell; where there are no others they are."""
    x = np.concatenate([np.zeros(3 * RATE_HZ), take(hiss(-60.0)), np.zeros(3 * RATE_HZ)])
    noise_s = measure_gaps(x, RATE_HZ).noise_s
    assert level(x, noise_s) == pytest.approx(-60.0, abs=0.1)
    # What a chain adds to them is told where they are all that there is.
    clean = measure_gaps(take(np.zeros(4 * RATE_HZ)), RATE_HZ)
    assert clean.noise_s == clean.rests_s
    assert level(take(hiss(-60.0)), clean.noise_s) == pytest.approx(-60.0, abs=0.1)


def test_no_rest_no_level() -> None:
    assert math.isnan(level(take(hiss(-60.0)), ()))


def test_same_bits_for_any_cuts() -> None:
    y = take(hiss(-60.0))[np.newaxis]
    whole = RestMeter(RATE_HZ, 1, 700)
    whole.add(y)
    for cuts in ([1, 699, 700, 701, 50_000], range(509, y.shape[1], 509)):
        parts = RestMeter(RATE_HZ, 1, 700)
        for a, b in itertools.pairwise([0, *cuts, y.shape[1]]):
            parts.add(np.ascontiguousarray(y[:, a:b]))
        assert parts.result(RESTS_S) == whole.result(RESTS_S)


def test_refuses_what_is_not_finite() -> None:
    with pytest.raises(AudioError, match="not finite"):
        level(np.full(5000, np.nan))
