"""One period of a voice from the horn's harmonics, against what can be worked out on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.dsp.harmonic_voice import DISPERSION, MOST_GAIN, disperse, lend_phases, move_strengths, parity_share
from tests.dsp.test_harmonic_shifter import level_db, settled, shifted, told
from tests.dsp.tracked import harmonics

COUNT = 24


def voice_of(
    strength: np.ndarray, spacing: float, *, parity: float | None = None, most: int = COUNT
) -> tuple[np.ndarray, np.ndarray]:
    """Horn and voice as complex harmonics from the first on; the horn's phases are 0.3 k^2."""
    count = strength.size
    phases = np.exp(0.3j * np.arange(1, count + 1) ** 2)
    horn = np.concatenate([[0.0], strength * phases])
    values = np.abs(horn)
    re, im = np.ascontiguousarray(horn.real), np.ascontiguousarray(horn.imag)
    voice_re, voice_im = np.full(most + 1, np.nan), np.full(most + 1, np.nan)
    share = parity_share(values, count) if parity is None else parity
    move_strengths(values, count, share, float(np.sum(values**2)), spacing, most, voice_re)
    lend_phases(re, im, values, count, spacing, most, voice_re, voice_im)
    assert voice_re[0] == voice_im[0] == 0.0
    return horn[1:], (voice_re + 1j * voice_im)[1:]


@pytest.mark.parametrize("strength", [1.0 / np.arange(1.0, COUNT + 1), np.linspace(1.0, 0.1, COUNT)])
def test_where_nothing_moves_it_is_the_horn(strength: np.ndarray) -> None:
    horn, voice = voice_of(strength, 1.0)
    # The last one has none above it to be read between, and may be missing: it has less than 0.3 % of the power here.
    assert np.abs(voice[:-1] / horn[:-1] - 1.0).max() < 0.003


@pytest.mark.parametrize("spacing", [0.6, 0.75, 1.25, 1.498, 2.0])
def test_strengths_on_a_line_stay_on_it(spacing: float) -> None:
    """What lies on a straight line is read from it exactly between harmonics: proportional to 1 - 0.03 m spacing."""
    _, voice = voice_of(1.0 - 0.03 * np.arange(1.0, COUNT + 1), spacing, parity=0.0)
    m = np.arange(1, COUNT + 1)
    inside = (m * spacing > 1.0) & (m * spacing < COUNT)
    share = np.abs(voice[inside]) / (1.0 - 0.03 * m[inside] * spacing)
    assert np.ptp(share) < 1e-12 * share.max()
    # Over the horn's highest harmonic there is nothing; 40 dB under the first is nothing.
    assert np.abs(voice[m * spacing >= COUNT]).max(initial=0.0) < 0.01 * abs(voice[0])


@pytest.mark.parametrize("spacing", [0.25, 0.6, 1.0, 1.498, 3.0])
def test_power_is_that_of_the_horn(spacing: float) -> None:
    horn, voice = voice_of(1.0 / np.arange(1.0, COUNT + 1) ** 1.3, spacing, most=96)
    assert np.sum(np.abs(voice) ** 2) == pytest.approx(np.sum(np.abs(horn) ** 2), rel=1e-12)


def test_a_voice_that_has_next_to_nothing_is_not_raised_without_end() -> None:
    # All that the horn has is its third harmonic; of it the voice has none or next to none: no harmonic lies near.
    _, voice = voice_of(np.array([1e-6, 0.0, 1.0]), 0.3, parity=0.0, most=1)
    assert abs(voice[0]) == pytest.approx(0.3e-6 * MOST_GAIN, rel=0.01)


def test_phases_are_those_of_the_horn_s_own_harmonics() -> None:
    horn, voice = voice_of(1.0 / np.arange(1.0, COUNT + 1), 1.498)
    sounding = np.abs(voice) > 0.0
    # A weak harmonic may lean on a stronger one near its new place by a tenth of it; here those are weaker: 0.1 rad.
    assert np.abs(np.angle(voice[sounding] / horn[sounding])).max() < 0.1
    assert np.count_nonzero(sounding) >= int(COUNT / 1.498)


def test_below_the_fundamental_it_falls_by_6_db_an_octave() -> None:
    # Voice two octaves down: its harmonics 1 and 2 lie two octaves and one under the horn's first, its fourth on it.
    _, voice = voice_of(np.array([1.0, *np.full(COUNT - 1, 0.5)]), 0.25, parity=0.0)
    db = 20.0 * np.log10(np.abs(voice[[0, 1]]) / abs(voice[3]))
    assert db == pytest.approx([-12.0, -6.0], abs=0.05)


@pytest.mark.parametrize(("apart_db", "share"), [(0.0, 0.0), (3.0, 0.0), (5.0, 0.5), (7.0, 1.0), (30.0, 1.0)])
@pytest.mark.parametrize("weaker", ["even", "odd"])
def test_parity_of_equal_harmonics_of_which_one_kind_is_weaker(weaker: str, apart_db: float, share: float) -> None:
    k = np.arange(COUNT + 1)
    weak = (k % 2 == 0) if weaker == "even" else (k % 2 == 1)
    assert parity_share(np.where(weak, 10.0 ** (-apart_db / 20.0), 1.0), COUNT) == pytest.approx(share, abs=1e-9)


@pytest.mark.parametrize("db_per_octave", [0.0, 6.0, 12.0, 24.0, -3.0])
def test_a_slope_has_no_parity(db_per_octave: float) -> None:
    k = np.maximum(np.arange(COUNT + 1.0), 1.0)
    assert parity_share(k ** (-db_per_octave / 6.0206), COUNT) == 0.0


def test_nor_has_a_sine_above_breath() -> None:
    """A fundamental, and more than 50 dB under it nothing but chance."""
    breath = np.random.default_rng(5).uniform(0.0, 0.0029, (100, COUNT + 1))
    breath[:, 1] = 1.0
    assert [parity_share(strength, COUNT) for strength in breath] == [0.0] * 100


@pytest.mark.parametrize("semitones", [-11, -7, -5, 3, 4, 7, 12, 19, 24])
def test_odd_harmonics_stay_alone(semitones: int) -> None:
    k = np.arange(1, COUNT + 1)
    _, voice = voice_of(np.where(k % 2 == 1, 1.0 / k, 0.0), 2.0 ** (semitones / 12.0))
    assert np.abs(voice[1::2]).max() == 0.0
    assert abs(voice[0]) > 0.1


@pytest.mark.parametrize("semitones", [-12, -14, -19, -24])
def test_weak_even_harmonics_stay_weak_an_octave_down(semitones: int) -> None:
    """40 dB under the odd ones in the horn; in the voice at least 30 dB under its own."""
    k = np.arange(1, COUNT + 1)
    _, voice = voice_of(np.where(k % 2 == 1, 1.0, 0.01) / k, 2.0 ** (semitones / 12.0))
    odd, even = (float(np.sum(np.abs(voice[first::2]) ** 2)) for first in (0, 1))
    assert 10.0 * math.log10(even / odd) < -30.0


def test_dispersion_is_a_parabola_of_phases() -> None:
    """exp(i c m^2), worked out step by step, to rounding over as many harmonics as any voice has."""
    m = np.arange(401)
    re, im = np.where(m > 0, 1.0 / (m + 1.0), 0.0), np.where(m > 0, 0.5, 0.0)
    wanted = (re + 1j * im) * np.exp(1j * DISPERSION * m**2)
    disperse(re, im, 400, DISPERSION)
    assert np.abs(re + 1j * im - wanted).max() < 1e-11


def test_dispersed_equal_harmonics_have_a_low_crest() -> None:
    """4.6 dB by S. Boyd, "Multitone signals with low crest factor", IEEE Trans. Circuits and Systems 33 (1986),
    1018-1022 (from memory), for phases pi (m - 1)^2 / n, which are these shifted in time, if n = 48. In step they have
    sqrt(2 n), 19.8 dB.
    """
    count = 48
    re, im = np.ones(count + 1), np.zeros(count + 1)
    re[0] = 0.0
    disperse(re, im, count, DISPERSION)
    y = np.fft.irfft(re + 1j * im, 8_192)
    assert 10.0 * math.log10(np.max(y**2) / np.mean(y**2)) == pytest.approx(4.6, abs=0.4)


@pytest.mark.parametrize("breath", [0.0, 0.001])
def test_a_sine_an_octave_up_is_a_sine_as_loud(breath: float) -> None:
    """Where its timbre has nothing but breath: the fundamental keeps a hundredth, ten times that, and is raised."""
    _, voice = voice_of(np.array([1.0, *np.full(COUNT - 1, breath)]), 2.0)
    assert abs(voice[0]) == pytest.approx(1.0, abs=0.06)
    assert np.sum(np.abs(voice[1:]) ** 2) <= COUNT * 0.1**2 * abs(voice[0]) ** 2


@pytest.mark.parametrize("spacing", [0.375, 0.6, 1.25, 1.7])
def test_strengths_on_a_line_stay_on_it_between_harmonics_of_one_parity(spacing: float) -> None:
    """The odd harmonics 1 - 0.03 k, the even ones a third of that: each kind is read from its own line exactly."""
    k = np.arange(1, COUNT + 1)
    share_of = np.where(k % 2 == 1, 1.0, 1.0 / 3.0)
    _, voice = voice_of(share_of * (1.0 - 0.03 * k), spacing, parity=1.0)
    inside = (k * spacing >= 2.0) & (k * spacing < COUNT - 1)
    share = np.abs(voice[inside]) / (share_of * (1.0 - 0.03 * k * spacing))[inside]
    assert np.count_nonzero(inside) > 10
    assert np.ptp(share) < 1e-12 * share.max()


@pytest.mark.parametrize("ratio", [0.25, 0.3])
@pytest.mark.parametrize("f_hz", [220.0, 440.0])
def test_a_bright_voice_far_below_peaks_as_a_horn_does(f_hz: float, ratio: float) -> None:
    """Notes of sampled horns peak 8.5 dB over their rms, some 11.6 dB; with a saw's phases it would be 14 to 15 dB."""
    x = harmonics(f_hz, int(20_000.0 / f_hz), 1.2)
    voices, _, _ = shifted(x, told(f_hz, x.size), [ratio])
    y = settled(voices[0])
    assert 20.0 * math.log10(np.abs(y).max()) - level_db(y) < 11.6
