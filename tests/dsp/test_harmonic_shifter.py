"""The harmonic shifter on tones, glides and noise whose pitch it is told: what moves, what stays, what is no tone."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chainsim.dsp.harmonic_shifter import HarmonicShifter
from chainsim.dsp.pitch_rows import F0_HZ, ROWS, VOICED
from chainsim.dsp.pitch_tracker import PitchTracker
from chainsim.measure.fundamental import fundamental_hz
from tests.dsp.tracked import harmonics, mellow, rows_of

FS = 48_000.0
LOWEST_HZ = 103.83
SEMITONES = (-12, -5, 4, 7, 12)
SETTLED_S = 0.3

Shifted = tuple[np.ndarray, np.ndarray, int]
"""Voices (voices, frames), rest (frames,), latency."""


def told(hz: np.ndarray | float, frames: int) -> np.ndarray:
    """A track that is right, and sure of it where there is a pitch at all."""
    rows = np.zeros((len(ROWS), frames))
    rows[F0_HZ] = hz
    rows[VOICED] = rows[F0_HZ] > 0.0
    return rows


def shifted(
    x: np.ndarray,
    track: np.ndarray,
    ratios: list[float],
    *,
    fixed_hz: list[float] | None = None,
    formant: float = 1.0,
    span: int = 1 << 14,
) -> Shifted:
    count, frames = len(ratios), x.size
    shifter = HarmonicShifter(LOWEST_HZ, FS, count, 1)
    voices, rest = np.empty((count, frames)), np.empty((1, frames))
    own = np.array(fixed_hz if fixed_hz is not None else [0.0] * count)
    for a in range(0, frames, span):
        n = min(span, frames - a)
        made, left = np.empty((count, n)), np.empty((1, n))
        moved = np.repeat(np.array(ratios)[:, np.newaxis], n, axis=1)
        heard = np.ascontiguousarray(x[np.newaxis, a : a + n])
        rows = np.ascontiguousarray(track[:, a : a + n])
        shifter.process(heard, rows, moved, own, np.full(n, formant), made, left)
        voices[:, a : a + n], rest[:, a : a + n] = made, left
    return voices, rest[0], shifter.latency_samples


def ratio(semitones: float) -> float:
    return 2.0 ** (semitones / 12.0)


def level_db(x: np.ndarray) -> float:
    return 20.0 * math.log10(float(np.sqrt(np.mean(x**2))) + 1e-15)


def settled(x: np.ndarray) -> np.ndarray:
    return x[round(SETTLED_S * FS) :]


def strengths(y: np.ndarray, f_hz: float, count: int) -> np.ndarray:
    """Amplitudes of the harmonics of f, from half a second under a Blackman window (side lobes under -58 dB)."""
    part = y[-round(0.5 * FS) :]
    window = np.blackman(part.size)
    turns = f_hz * np.arange(part.size) / FS
    lines = np.exp(-2j * np.pi * np.outer(np.arange(1, count + 1), turns))
    return np.abs(lines @ (window * part)) * 2.0 / window.sum()


T = np.arange(round(1.2 * FS)) / FS
COURSES: dict[str, np.ndarray] = {
    **{f"{f:g} Hz": np.full(T.size, f) for f in (110.0, 220.0, 311.7, 440.0)},
    "glide": 220.0 * 2.0 ** (T / 1.2),
    "vibrato": 330.0 * ratio(0.5) ** np.sin(2.0 * np.pi * 5.5 * T),
}


@pytest.mark.parametrize("wave", ["sine", "all harmonics", "odd harmonics"])
@pytest.mark.parametrize("course", COURSES)
def test_voice_and_rest_are_the_take_where_nothing_moves(course: str, wave: str) -> None:
    hz = COURSES[course]
    low_hz = float(hz.min())
    amplitudes = {"sine": 1, "all harmonics": mellow(low_hz), "odd harmonics": mellow(low_hz, 0.0)}[wave]
    x = harmonics(hz, amplitudes, 1.2)
    voices, rest, latency = shifted(x, told(hz, x.size), [1.0])
    error = (voices[0] + rest)[latency:] - x[:-latency]
    # Of a vibrato's upper harmonics, whose pitch moves within the two periods, a little more goes astray.
    assert level_db(error) < level_db(x) - (78.0 if course == "vibrato" else 80.0)
    if course.endswith("Hz"):  # a steady tone is all tone
        assert level_db(settled(rest)) < level_db(x) - 60.0


@pytest.mark.parametrize("f_hz", [550.0, 700.0, 1046.5])
def test_voice_and_rest_are_the_take_of_bright_high_notes(f_hz: float) -> None:
    """Harmonics of 1/k up to 12 kHz: what is read amiss between the points of a table stays under -60 dB."""
    x = harmonics(f_hz, int(12_000.0 / f_hz), 1.2)
    voices, rest, latency = shifted(x, told(f_hz, x.size), [1.0])
    assert level_db(settled((voices[0] + rest)[latency:] - x[:-latency])) < level_db(x) - 60.0


def test_noise_is_all_rest_to_the_bit() -> None:
    """Noise, and the tracker itself to tell that it has no pitch; two voices at intervals that would be heard."""
    x = 0.1 * np.random.default_rng(1).standard_normal(T.size)
    track = rows_of(PitchTracker(98.0, 1_000.0, FS), x, 1 << 14)
    voices, rest, latency = shifted(x, track, [ratio(7), ratio(-12)])
    assert not voices.any()
    assert rest[latency:].tobytes() == x[:-latency].tobytes()


def test_noise_that_is_taken_for_a_tone_is_still_no_tone() -> None:
    """Periods of noise are not alike, whatever pitch is told."""
    x = 0.1 * np.random.default_rng(1).standard_normal(T.size)
    voices, rest, latency = shifted(x, told(220.0, x.size), [1.0, ratio(7)])
    assert level_db(voices[1]) < level_db(x) - 20.0
    assert level_db((voices[0] + rest)[latency:] - x[:-latency]) < level_db(x) - 30.0


def test_silence_stays_silent() -> None:
    voices, rest, _ = shifted(np.zeros(T.size), told(220.0, T.size), [1.0, ratio(7)])
    assert not voices.any()
    assert not rest.any()


def test_breath_is_left_in_the_rest() -> None:
    """White noise 30 dB under a tone: most of it is in the rest, and little in the voice, half-way between harmonics.

    Two periods cannot tell all of it from tone: at most half of its power is lost to that.
    """
    noise = np.random.default_rng(2).standard_normal(T.size)
    tone = harmonics(220.0, mellow(220.0), 1.2)
    noise *= np.sqrt(np.mean(tone**2)) * 10.0 ** (-30.0 / 20.0)
    voices, rest, _ = shifted(tone + noise, told(220.0, T.size), [ratio(7)])
    assert -3.0 < level_db(settled(rest)) - level_db(noise) < 0.0
    between = strengths(tone + noise, 110.0, 80)[0::2]
    between_voice = strengths(voices[0], 0.5 * 220.0 * ratio(7), 53)[0::2]
    assert level_db(between_voice) < level_db(between) - 10.0


@pytest.mark.parametrize("f_hz", [110.0, 147.0, 220.0])
def test_without_formants_the_harmonics_are_the_horn_s_own(f_hz: float) -> None:
    """As on a tape that runs at another speed: harmonic m is as strong as the horn's m-th, at every interval."""
    x = harmonics(f_hz, mellow(f_hz), 1.2)
    played = strengths(x, f_hz, 12)
    voices, _, _ = shifted(x, told(f_hz, x.size), [ratio(s) for s in SEMITONES], formant=0.0)
    for semitones, voice in zip(SEMITONES, voices, strict=True):
        found_db = 20.0 * np.log10(strengths(voice, f_hz * ratio(semitones), 12) / played)
        assert np.abs(found_db).max() < 0.02, semitones


@pytest.mark.parametrize("formant", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("f_hz", [110.0, 220.0, 440.0])
def test_a_voice_is_as_loud_as_the_horn(f_hz: float, formant: float) -> None:
    x = harmonics(f_hz, mellow(f_hz), 1.2)
    voices, _, _ = shifted(x, told(f_hz, x.size), [ratio(s) for s in SEMITONES], formant=formant)
    for semitones, voice in zip(SEMITONES, voices, strict=True):
        assert level_db(settled(voice)) == pytest.approx(level_db(settled(x)), abs=0.05), semitones


@pytest.mark.parametrize("semitones", SEMITONES)
@pytest.mark.parametrize("f_hz", [147.0, 220.0])
def test_a_tone_of_odd_harmonics_has_odd_ones_at_any_pitch(f_hz: float, semitones: int) -> None:
    """A closed cylinder has none but odd ones, whatever note is fingered."""
    x = harmonics(f_hz, mellow(f_hz, 0.0), 1.2)
    voices, _, _ = shifted(x, told(f_hz, x.size), [ratio(semitones)])
    found = strengths(voices[0], f_hz * ratio(semitones), 12)
    assert level_db(found[1::2]) < level_db(found[0::2]) - 50.0


@pytest.mark.parametrize("semitones", SEMITONES)
@pytest.mark.parametrize("course", ["220 Hz", "glide"])
def test_a_voice_is_at_its_interval(course: str, semitones: int) -> None:
    """To 2 cents under a steady tone; under a glide to what the marks, a window W of a period late, leave of it.

    They turn the waveform by W dP/dt a period, whatever the interval R: its error is |1 - 1 / R| times that, here
    ln 2 / 1.2 s times 1 / 220 s or 5.5 cents at the beginning.
    """
    hz = COURSES[course]
    x = harmonics(hz, mellow(220.0), 1.2)
    voices, _, latency = shifted(x, told(hz, x.size), [ratio(semitones)])
    at_s = np.arange(SETTLED_S, 1.1, 0.02)
    wanted_hz = np.interp(at_s, T, hz) * ratio(semitones)
    found_hz = fundamental_hz(voices[0], FS, at_s + latency / FS, wanted_hz, 0.05)
    lag_cents = 5.5 * abs(1.0 - 1.0 / ratio(semitones)) if course == "glide" else 0.0
    assert np.abs(1200.0 * np.log2(found_hz / wanted_hz)).max() < max(2.0, lag_cents)


def test_a_drone_keeps_its_pitch_under_a_steady_tone() -> None:
    x = harmonics(311.7, mellow(311.7), 1.2)
    voices, _, _ = shifted(x, told(311.7, x.size), [1.0, ratio(0.07)], fixed_hz=[110.0, 110.0])
    for voice, wanted_hz in zip(voices, (110.0, 110.0 * ratio(0.07)), strict=True):
        found_hz = fundamental_hz(voice, FS, np.arange(SETTLED_S, 1.1, 0.02), wanted_hz, 0.05)
        assert np.abs(1200.0 * np.log2(found_hz / wanted_hz)).max() < 0.3
        assert level_db(settled(voice)) == pytest.approx(level_db(x), abs=0.1)


def harmonic_cents(y: np.ndarray, period: int, count: int) -> np.ndarray:
    """Pitch (count, moments) of each harmonic of a tone of `period` samples, from how far it turns in each period.

    Hann windows of six periods: what lies on other harmonics, even as it grows or falls steadily, is not seen.
    """
    window = np.hanning(6 * period + 1)[:-1]
    frames = np.lib.stride_tricks.sliding_window_view(y, window.size)[::period]
    lines = np.exp(-2j * np.pi * np.outer(np.arange(1, count + 1), np.arange(window.size)) / period)
    values = lines @ (window * frames).T
    turns = np.angle(values[:, 1:] / values[:, :-1]) / (2.0 * np.pi * np.arange(1, count + 1)[:, np.newaxis])
    return 1200.0 * np.log2(1.0 + turns)


@pytest.mark.parametrize("course", ["glide", "vibrato"])
def test_a_drone_keeps_its_pitch_whatever_the_horn_does(course: str) -> None:
    """An octave in 1.2 s, or a vibrato of 50 cents: strengths move, phases never do.

    What is left is what growing and falling harmonics do to the windows they are measured by.
    """
    hz = COURSES[course]
    x = harmonics(hz, mellow(float(hz.min())), 1.2)
    period = 436
    drone_hz = FS / period
    voices, _, _ = shifted(x, told(hz, x.size), [1.0], fixed_hz=[drone_hz])
    found_hz = fundamental_hz(voices[0], FS, np.arange(SETTLED_S, 1.1, 0.01), drone_hz, 0.04)
    assert np.abs(1200.0 * np.log2(found_hz / drone_hz)).max() < 0.2
    assert np.abs(harmonic_cents(settled(voices[0]), period, 6)).max() < 0.2
    assert level_db(settled(voices[0])) == pytest.approx(level_db(settled(x)), abs=0.2)


@pytest.mark.parametrize("drone_hz", [55.0, 82.4, 110.0, 220.0, 330.0])
@pytest.mark.parametrize("f_hz", [147.0, 311.7, 622.3])
def test_a_drone_peaks_as_a_horn_does(f_hz: float, drone_hz: float) -> None:
    """Notes of sampled horns peak 8.5 dB over their rms, some 11.6 dB; harmonics in step would, here, up to 18 dB."""
    x = harmonics(f_hz, mellow(f_hz), 1.2)
    voices, _, _ = shifted(x, told(f_hz, x.size), [1.0], fixed_hz=[drone_hz])
    y = settled(voices[0])
    assert 20.0 * math.log10(float(np.abs(y).max())) - level_db(y) < 11.6


@pytest.mark.parametrize("noise_db", [-45.0, -30.0])
@pytest.mark.parametrize("f_hz", [220.0, 330.0, 500.0, 659.26])
def test_a_nearly_pure_tone_has_a_steady_voice_an_octave_down(f_hz: float, noise_db: float) -> None:
    """A soft flute is hardly more than a sine and some breath; no chance in that may pass for odd or even harmonics."""
    noise = np.random.default_rng(3).standard_normal(T.size)
    x = harmonics(f_hz, 1, 1.2)
    x += noise * np.sqrt(np.mean(x**2)) * 10.0 ** (noise_db / 20.0)
    voices, _, _ = shifted(x, told(f_hz, x.size), [0.5])
    found_hz = fundamental_hz(voices[0], FS, np.arange(SETTLED_S, 1.1, 0.005), 0.5 * f_hz)
    assert np.std(1200.0 * np.log2(found_hz / (0.5 * f_hz))) < 2.0


def test_two_channels_move_together() -> None:
    """One horn, twice as strong on the right: so is its voice, and nothing turns or wanders."""
    x = harmonics(220.0, mellow(220.0), 1.2)
    stereo = np.ascontiguousarray(np.vstack([x, 2.0 * x]))
    shifter = HarmonicShifter(LOWEST_HZ, FS, 1, 2)
    voices, rest = np.empty((2, x.size)), np.empty((2, x.size))
    ratios = np.full((1, x.size), ratio(7))
    shifter.process(stereo, told(220.0, x.size), ratios, np.zeros(1), np.ones(x.size), voices, rest)
    assert np.abs(voices[1] - 2.0 * voices[0]).max() < 1e-9
    assert np.abs(rest[1] - 2.0 * rest[0]).max() < 1e-9
    assert level_db(settled(voices[0])) == pytest.approx(level_db(x), abs=0.1)


def test_cuts_leave_the_bits_alone() -> None:
    hz = COURSES["vibrato"]
    x = harmonics(hz, mellow(330.0), 1.2)[:9_000]
    track = told(hz[:9_000], 9_000)
    track[VOICED, 4_000:5_000] = 0.0
    whole = shifted(x, track, [ratio(7), 1.0], fixed_hz=[0.0, 110.0], span=9_000)
    for span in (1, 7, 509):
        cut = shifted(x, track, [ratio(7), 1.0], fixed_hz=[0.0, 110.0], span=span)
        assert cut[0].tobytes() == whole[0].tobytes()
        assert cut[1].tobytes() == whole[1].tobytes()
