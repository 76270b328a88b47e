"""Marks a period apart: closed forms of likeness, and marks that stay where they are in the period of a known tone."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.dsp.period_marks import LEAST_WINDOW_S, best_period, likeness, next_period, periods_in, whole_periods
from tests.dsp.tracked import harmonics, mellow

FS = 48_000.0
PULSE = dict.fromkeys(range(1, 61), 1.0)


def steps_of(x: np.ndarray, told: np.ndarray, turns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Marks from sample 2000 on, and what each step misses of one turn of the tone, in samples.

    told: period that the tracker tells at each sample; turns: of the tone, at each sample.
    """
    size = 1 << math.ceil(math.log2(x.size + 1))
    line = np.zeros((1, 2 * size))
    line[0, : x.size] = line[0, size : size + x.size] = x
    marks = [2000.0]
    while marks[-1] + 2.1 * told.max() < x.size:
        period = float(told[int(marks[-1])])
        window = whole_periods(period, math.ceil(LEAST_WINDOW_S * FS))
        found, _ = next_period(line, size, x.size - 1, marks[-1], period, window)
        marks.append(marks[-1] + found)
    at = np.array(marks)
    missed = np.diff(np.interp(at, np.arange(x.size), turns)) - 1.0
    return at, missed * np.diff(at)


@pytest.mark.parametrize("told_cents", [0.0, 5.0, -5.0])
@pytest.mark.parametrize("f_hz", [65.4, 110.0, 207.65, 311.7, 440.0, 523.25, 659.26, 880.0])
def test_marks_of_a_steady_tone_are_a_period_apart(f_hz: float, told_cents: float) -> None:
    """Whatever the tracker's small error, here 5 cents: 1.3 samples at 110 Hz."""
    told = np.full(round(FS), FS / f_hz * 2.0 ** (told_cents / 1200.0))
    turns = (np.arange(told.size) + 1) * f_hz / FS
    # A parabola fits the crest of equation (1) the better, the mellower the tone: to 0.02 samples where horns are. The
    # crest of a tone whose harmonics reach to half the sample rate is sharp, and no more is asked than that the nearest
    # sample is the nearest one. The mean over a second, in which the marks pass the samples at all distances, is the
    # interval's error: within the 2 cents that are allowed it.
    for amplitudes, most_samples, most_cents in (
        (1, 0.02, 0.15),
        (mellow(f_hz), 0.02, 0.15),
        (600, 0.5, 2.0),
        (PULSE, 0.5, 2.0),
    ):
        marks, missed = steps_of(harmonics(f_hz, amplitudes, 1.0), told, turns)
        assert marks.size > 0.9 * f_hz
        assert np.abs(missed).max() < most_samples
        assert abs(1200.0 * math.log2(1.0 + missed.mean() * f_hz / FS)) < most_cents


@pytest.mark.parametrize("wave", ["sine", "saw", "pulse"])
@pytest.mark.parametrize("course", ["vibrato", "glide up", "glide down"])
def test_marks_of_a_moving_tone_lag_by_no_more_than_the_window(course: str, wave: str) -> None:
    t = np.arange(round(1.5 * FS)) / FS
    hz = {
        "vibrato": 330.0 * 2.0 ** (50.0 / 1200.0 * np.sin(2.0 * np.pi * 5.5 * t)),
        "glide up": 220.0 * 2.0 ** (t / 1.5),
        "glide down": 440.0 * 2.0 ** (-t / 1.5),
    }[course]
    x = harmonics(hz, {"sine": 1, "saw": 600, "pulse": PULSE}[wave], 1.5)
    marks, missed = steps_of(x, FS / hz, np.cumsum(hz) / FS)
    # The window ends at the mark: the period is the one of a moment up to a window earlier, dP/dt times that away.
    window = np.maximum(FS / hz, LEAST_WINDOW_S * FS)
    lag = np.abs(np.gradient(FS / hz)) * window
    assert np.all(np.abs(missed) < lag.max() + 0.1)
    assert marks.size > 1.4 * hz.min()


def written_twice(x: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.tile(x, 2)[np.newaxis])


def test_likeness_in_closed_form() -> None:
    n = np.arange(1024)
    sine = written_twice(np.sin(2.0 * np.pi * n / 64))
    # 2 sum sin(a) sin(a + d) / (sum sin^2 + sum sin^2) over whole periods is cos d.
    for lag in (0, 8, 16, 21, 32, 64):
        assert likeness(sine, 128, lag, 256) == pytest.approx(math.cos(2.0 * math.pi * lag / 64), abs=1e-12)
    # A tone that has grown by g is 2 g / (1 + g^2) like what it was: McLeod's normalisation knows the level.
    grown = written_twice(np.sin(2.0 * np.pi * n / 64) * np.where(n < 512, 1.0, 3.0))
    assert likeness(grown, 512 - 256, 256, 256) == pytest.approx(2.0 * 3.0 / 10.0, abs=1e-12)
    assert likeness(np.zeros((1, 64)), 0, 16, 32) == 0.0
    # Independent noise: nothing alike, within four standard deviations 1 / sqrt(256).
    noise = written_twice(np.random.default_rng(1).standard_normal(1024))
    assert abs(likeness(noise, 0, 400, 256)) < 4.0 / 16.0


def test_likeness_of_two_channels_weighs_them_by_their_power() -> None:
    n = np.arange(1024)
    both = np.vstack([written_twice(np.sin(2.0 * np.pi * n / 64)), written_twice(2.0 * np.sin(2.0 * np.pi * n / 32))])
    both = np.ascontiguousarray(both)
    # cos(90 degrees) with power 1, cos(180 degrees) with power 4
    assert likeness(both, 0, 16, 256) == pytest.approx((0.0 - 4.0) / 5.0, abs=1e-12)


def test_a_mark_is_not_sought_beyond_the_newest_sample() -> None:
    x = np.sin(2.0 * np.pi * np.arange(1024) / 100.0)
    line = written_twice(x)
    assert next_period(line, 1024, 495, 400.0, 100.0, 144) == (100.0, 0.0)
    found, alike = next_period(line, 1024, 505, 400.0, 100.0, 144)
    assert found == pytest.approx(100.0, abs=0.01)
    assert alike > 0.999


def test_high_notes_have_a_mark_in_several_periods() -> None:
    # 4 ms at 48 kHz are 192 samples: 3 periods of 880 Hz, 1 of 440 Hz (109 samples); never less than one.
    assert [periods_in(FS / f, 400.0, FS) for f in (110.0, 440.0, 510.0, 880.0, 2_000.0)] == [1, 1, 2, 3, 8]
    assert periods_in(24.0, 100.0, FS) == 4  # but no longer than the longest period


def test_a_track_that_slips_an_octave_down_does_not_lead_the_marks() -> None:
    """Twice the period fits as well as the period: the last one is kept, if there is one."""
    line = written_twice(np.sin(2.0 * np.pi * np.arange(2048) / 128.0))
    assert best_period(line, 2048, 1900, 1000.0, 256.0, 128.0, 400.0, FS, 144)[0] == pytest.approx(128.0, abs=0.01)
    assert best_period(line, 2048, 1900, 1000.0, 256.0, 0.0, 400.0, FS, 144)[0] == pytest.approx(256.0, abs=0.01)
    # Where the last one no longer fits, what is tracked counts.
    period, span, alike = best_period(line, 2048, 1900, 1000.0, 128.0, 96.0, 400.0, FS, 144)
    assert (period, span) == (pytest.approx(128.0, abs=0.01), pytest.approx(128.0, abs=0.01))
    assert alike > 0.999
