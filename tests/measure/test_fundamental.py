"""The fundamental, where it is known in closed form: steady, in noise, with weak harmonics, and moving."""

from __future__ import annotations

import numpy as np
import parselmouth
import pytest

from chainsim.errors import AudioError
from chainsim.measure.fundamental import LEAST_PERIODS, fundamental_hz
from tests.dsp.tracked import SAW, harmonics, with_noise
from tests.sampled_horns import SampledHorn
from tests.tables import thorough

RATE_HZ = 48_000.0
MOMENTS_S = np.arange(0.1, 0.9, 0.02)

TONES = {
    "sine": {1: 1.0},
    "saw": SAW,
    "odd": {k: 1.0 / k for k in range(1, 40, 2)},
    "no fundamental": {k: 1.0 / k for k in range(2, 9)},
    "weak fundamental": {1: 10 ** (-30 / 20), 2: 1.0, 3: 1.0},
    "strong even": {k: (4.0 if k % 2 == 0 else 1.0) / k for k in range(1, 20)},
}
"""Amplitudes by harmonic; the last three are the octave traps of the pitch tracker's own tests."""

PITCHES_HZ = (55.3, 110.0, 233.1, 440.7, 880.0, 1993.0)


def cents(f_hz: np.ndarray, true_hz: np.ndarray | float) -> np.ndarray:
    return 1200.0 * np.log2(f_hz / true_hz)


@pytest.mark.parametrize("expected_off_cents", [-90.0, 40.0, *thorough(-40.0, 0.0, 90.0)])
@pytest.mark.parametrize("tone", TONES)
def test_steady_tones_are_exact_wherever_they_were_expected(tone: str, expected_off_cents: float) -> None:
    for f0_hz in PITCHES_HZ:
        near_hz = f0_hz * 2.0 ** (expected_off_cents / 1200.0)
        found = fundamental_hz(harmonics(f0_hz, TONES[tone], 1.0), RATE_HZ, MOMENTS_S, near_hz)
        # a tenth of the smallest figure that the measure is for, a mean error of 2 cents, is 0.2 cents
        assert np.abs(cents(found, f0_hz)).max() < 0.1, f0_hz


@pytest.mark.parametrize("rate_hz", [16_000.0, 44_100.0, 96_000.0])
def test_the_sample_rate_does_not_matter(rate_hz: float) -> None:
    found = fundamental_hz(harmonics(233.1, SAW, 1.0, rate_hz), rate_hz, MOMENTS_S, 240.0)
    assert np.abs(cents(found, 233.1)).max() < 0.1


@pytest.mark.parametrize("tone", ["sine", "saw", "odd", "no fundamental"])
@pytest.mark.parametrize("f0_hz", [61.7, 138.6, 440.7, 1318.5])
def test_noise_of_20_db_less_costs_little(tone: str, f0_hz: float) -> None:
    x = with_noise(harmonics(f0_hz, TONES[tone], 1.0), 20.0)
    found = cents(fundamental_hz(x, RATE_HZ, MOMENTS_S, f0_hz * 2.0 ** (30.0 / 1200.0)), f0_hz)
    # The project's bar for its tracker (PT-1) is 5 cents; the lower bound of Cramer and Rao for the frequency of a
    # sine at 20 dB in 1200 samples is 0.01 Hz, a third of a cent at 62 Hz before windowing.
    assert np.median(np.abs(found)) < 1.0
    assert abs(found.mean()) < 0.4
    assert np.abs(found).max() < 10.0


def vibrato(f0_hz: float, depth_cents: float, moments_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two seconds of a saw with vibrato at 5.5 Hz, and its true pitch at some moments."""
    t = np.arange(2 * 48_000) / RATE_HZ
    course_hz = f0_hz * 2.0 ** (depth_cents / 1200.0 * np.sin(2.0 * np.pi * 5.5 * t))
    return harmonics(course_hz, SAW, 2.0), np.interp(moments_s, t, course_hz)


@pytest.mark.parametrize(("f0_hz", "window_s"), [(110.0, 0.025), (110.0, 0.05), (440.0, 0.025), (440.0, 0.05)])
def test_what_a_window_keeps_of_a_small_vibrato(f0_hz: float, window_s: float) -> None:
    # The average over a Hann window of length L keeps sinc(r L) / (1 - (r L)^2) of a swing at the rate r.
    moments_s = np.arange(0.2, 1.8, 0.005)
    x, true_hz = vibrato(f0_hz, 0.3, moments_s)
    found = fundamental_hz(x, RATE_HZ, moments_s, true_hz * 2.0 ** (20.0 / 1200.0), window_s)
    turns = 5.5 * max(2 * round(0.5 * window_s * f0_hz), LEAST_PERIODS) / f0_hz
    swing = cents(true_hz, f0_hz)
    kept = np.dot(cents(found, f0_hz), swing) / np.dot(swing, swing)
    assert kept == pytest.approx(np.sinc(turns) / (1.0 - turns**2), abs=0.003)


def test_two_sounds_with_the_same_small_vibrato_differ_by_their_interval() -> None:
    moments_s = np.arange(0.2, 1.8, 0.005)
    low, low_hz = vibrato(146.8, 15.0, moments_s)
    for semitones in (-12.0, 7.0, 12.0):
        ratio = 2.0 ** (semitones / 12.0)
        high, high_hz = vibrato(146.8 * ratio, 15.0, moments_s)
        window_s = 4.0 / (146.8 * min(ratio, 1.0))
        found = [fundamental_hz(x, RATE_HZ, moments_s, f, window_s) for x, f in ((low, low_hz), (high, high_hz))]
        apart = cents(found[1], found[0]) - 100.0 * semitones
        assert abs(apart.mean()) < 0.05
        assert apart.std() < 0.2


def test_the_middle_of_a_glide() -> None:
    t = np.arange(48_000) / RATE_HZ
    course_hz = 300.0 + 120.0 * t  # six semitones in a second
    found = fundamental_hz(harmonics(course_hz, SAW, 1.0), RATE_HZ, MOMENTS_S, 300.0 + 120.0 * MOMENTS_S)
    assert np.abs(cents(found, 300.0 + 120.0 * MOMENTS_S)).max() < 0.5


@pytest.mark.parametrize("tone", ["sine", "saw", "odd", "no fundamental"])
@pytest.mark.parametrize("ratio", [1 / 3, 1 / 2, 2 / 3, 1.07, 3 / 2, 2.0, 3.0])
def test_another_pitch_is_not_the_one_expected(tone: str, ratio: float) -> None:
    for f0_hz in (110.0, 440.7):
        found = fundamental_hz(harmonics(f0_hz, TONES[tone], 1.0), RATE_HZ, MOMENTS_S, ratio * f0_hz)
        assert np.isnan(found).all()


def test_what_is_no_tone_has_no_fundamental() -> None:
    assert np.isnan(fundamental_hz(np.zeros(48_000), RATE_HZ, MOMENTS_S, 220.0)).all()
    noise = 0.1 * np.random.default_rng(1).standard_normal(48_000)
    for near_hz in (60.0, 110.0, 440.0):
        assert np.isnan(fundamental_hz(noise, RATE_HZ, MOMENTS_S, near_hz)).all()
    x = harmonics(220.0, SAW, 1.0)
    assert np.isnan(fundamental_hz(x, RATE_HZ, MOMENTS_S[:3], [0.0, -1.0, np.nan])).all()
    assert np.isnan(fundamental_hz(x, RATE_HZ, [-1.0, 5.0], 220.0)).all()


def test_a_sound_that_is_elsewhere_than_asked() -> None:
    x = harmonics(220.0, SAW, 1.0)
    with pytest.raises(AudioError, match="one channel"):
        fundamental_hz(np.zeros((10, 2)), RATE_HZ, MOMENTS_S, 220.0)
    with pytest.raises(AudioError, match="one pitch and one window a moment"):
        fundamental_hz(x, RATE_HZ, MOMENTS_S, [220.0, 221.0])
    with pytest.raises(AudioError, match="finite"):
        fundamental_hz(x, RATE_HZ, [np.inf], 220.0)
    with pytest.raises(AudioError, match="sample rate"):
        fundamental_hz(x, np.nan, MOMENTS_S, 220.0)


def test_sampled_horns_against_a_library(sampled_sax: SampledHorn, sampled_trombone: SampledHorn) -> None:
    # The autocorrelation method of P. Boersma, IFA Proceedings 17, 1993, as praat-parselmouth has it. It takes
    # some notes of the saxophone an octave too low, which counts against neither.
    for horn in (sampled_sax, sampled_trombone):
        rate_hz = float(horn.sample_rate_hz)
        theirs = parselmouth.Sound(horn.audio, rate_hz).to_pitch_ac(
            time_step=0.01, pitch_floor=60.0, pitch_ceiling=1200.0, very_accurate=True
        )
        parts = [np.arange(n.onset_s + 0.06, n.end_s - 0.06, 0.01) for n in horn.notes]
        moments_s = np.concatenate(parts)
        true_hz = np.repeat([n.f0_hz for n in horn.notes], [part.size for part in parts])
        found = fundamental_hz(horn.audio, rate_hz, moments_s, true_hz)
        library = np.array([theirs.get_value_at_time(t) for t in moments_s])
        agreed = np.abs(cents(library, true_hz)) < 100.0
        assert np.mean(agreed) > 0.8
        apart = cents(found, library)[agreed]
        assert np.mean(np.isfinite(found)) > 0.99
        assert np.median(np.abs(apart)) < 0.3
        assert np.percentile(np.abs(apart), 95) < 2.0
        assert abs(np.mean(apart)) < 0.2
