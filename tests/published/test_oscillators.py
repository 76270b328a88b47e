"""Oscillators against Fourier series, the wave's own shape, and sines with a known course of pitch."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import hilbert

from chainsim.dsp.oscillator import oscillate
from chainsim.dsp.oscillator_tables import TOP_HZ, tables, top_hz

RATES = (44_100, 48_000)
PITCHES_HZ = (53, 110, 211, 443, 568, 605, 997, 1_249, 1_709, 2_203, 2_637, 3_109, 3_607, 3_989)
"""Coprime to both rates but 110: then a second holds whole periods, and no alias can hide under a harmonic."""

WAVES = ("saw", "pulse", "triangle")
WIDTH = 0.37


def sound(
    wave: str, freq_hz: float | np.ndarray, rate_hz: int, frames: int, width: float | np.ndarray = WIDTH
) -> np.ndarray:
    """One oscillator on its own, begun at 0.37 of its period."""
    made = tables("saw" if wave == "pulse" else wave)  # type: ignore[arg-type]
    freq, widths = (np.array(np.broadcast_to(v, frames), dtype=np.float64) for v in (freq_hz, width))
    y = np.empty(frames)
    reading = (made.points, made.first, made.size, made.fade_from, made.fade_to, top_hz(rate_hz), float(rate_hz))
    oscillate(freq, np.ones(frames), widths, int(wave == "pulse"), *reading, np.array([0.37]), y)
    return y


def fourier(wave: str, k: np.ndarray) -> np.ndarray:
    """Amplitudes of the harmonics k of the ideal wave of height +-1: textbook series."""
    if wave == "saw":
        return 2.0 / (np.pi * k)
    if wave == "pulse":
        return np.abs(4.0 / (np.pi * k) * np.sin(np.pi * k * WIDTH))
    return np.where(k % 2 == 1, 8.0 / (np.pi * k) ** 2, 0.0)


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("wave", WAVES)
def test_harmonics_are_those_of_the_series_and_nothing_else_is_there(wave: str, rate_hz: int) -> None:
    for f in PITCHES_HZ:
        amplitude = 2.0 * np.abs(np.fft.rfft(sound(wave, f, rate_hz, rate_hz))) / rate_hz
        harmonics = np.arange(f, 20_000, f)
        others = np.delete(amplitude[:20_000], np.append(harmonics, 0))
        assert 20.0 * math.log10(others.max() / amplitude[f]) < -118.0, f
        expected = fourier(wave, np.arange(1, 18_000 // f + 1))
        heard = expected > 1e-9
        found_db = 20.0 * np.log10(amplitude[harmonics[: expected.size]][heard] / expected[heard])
        assert np.abs(found_db).max() < 0.02, f


@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0, 96_000.0, 192_000.0])
def test_no_harmonic_over_the_top_and_none_missing_below_18_khz(rate_hz: float) -> None:
    made = tables("saw")
    top, counts = top_hz(rate_hz), 1.0 / made.fade_to
    assert top <= min(rate_hz / 2.0, TOP_HZ)
    for j in range(len(counts) - 2):
        lacking_hz = top * made.fade_from[j] * (round(counts[j + 1]) + 1)
        assert lacking_hz > 18_000.0
        assert made.fade_to[j] > 1.03 * made.fade_from[j]


@pytest.mark.parametrize(
    ("wave", "rms"), [("saw", 1 / math.sqrt(3)), ("triangle", 1 / math.sqrt(3)), ("sine", 0.5**0.5)]
)
def test_rms_of_the_ideal_wave(wave: str, rms: float) -> None:
    assert np.sqrt(np.mean(sound(wave, 50, 48_000, 48_000) ** 2)) == pytest.approx(rms, rel=2e-3)


def test_distortion_totals() -> None:
    # Square sqrt(pi^2/8 - 1), saw sqrt(pi^2/6 - 1), triangle sqrt(pi^4/96 - 1); the missing harmonics over the top
    # take 0.05 percent points off a saw of 20 Hz, and less off the others.
    for wave, expected in (("pulse", math.pi**2 / 8), ("saw", math.pi**2 / 6), ("triangle", math.pi**4 / 96)):
        amplitude = np.abs(np.fft.rfft(sound(wave, 20, 48_000, 48_000, 0.5)))
        total = math.sqrt(np.sum(amplitude[21:] ** 2)) / amplitude[20]
        assert 100.0 * total == pytest.approx(100.0 * math.sqrt(expected - 1.0), abs=0.06)


@pytest.mark.parametrize("wave", [*WAVES, "sine"])
def test_glide_keeps_to_the_commanded_pitch(wave: str) -> None:
    rate_hz = 48_000
    t = np.arange(rate_hz) / rate_hz
    command_hz = 110.0 * 8.0**t
    y = sound(wave, command_hz, rate_hz, rate_hz, 0.5)
    # The phase is the running sum of f / fs: demodulate the fundamental with the command itself.
    turns = np.concatenate([[0.0], np.cumsum(command_hz[:-1] / rate_hz)])
    base = y * np.exp(-2j * np.pi * turns)
    smooth = np.convolve(base, np.blackman(4_801) / np.blackman(4_801).sum(), "same")[4_800:-4_800]
    drift_hz = np.diff(np.unwrap(np.angle(smooth))) * rate_hz / (2.0 * np.pi)
    cents = 1200.0 * np.log2(1.0 + drift_hz / command_hz[4_800:-4_801])
    assert np.abs(cents).max() < 1.0
    if wave != "sine":
        assert np.abs(y).max() < 1.4  # Gibbs: 1.18 for a unit step of 2


@pytest.mark.parametrize("wave", WAVES)
def test_vibrato_is_a_sum_of_modulated_harmonics_and_nothing_else(wave: str) -> None:
    """Under vibrato the wave must equal its series with the same phase, summed up to where no line nears the top."""
    rate_hz, f = 44_100, 1_249.0
    t = np.arange(rate_hz) / rate_hz
    command_hz = f * 2.0 ** (50.0 / 1200.0 * np.sin(2.0 * np.pi * 6.0 * t))
    y = sound(wave, command_hz, rate_hz, rate_hz, WIDTH)
    turns = 0.37 + np.concatenate([[0.0], np.cumsum(command_hz[:-1] / rate_hz)])
    k = np.arange(1, 15)[:, None]
    sines = np.sin(2.0 * np.pi * k * turns)
    if wave == "saw":
        series = (2.0 / (np.pi * k) * sines).sum(axis=0)
    elif wave == "pulse":
        series = (2.0 / (np.pi * k) * (sines - np.sin(2.0 * np.pi * k * (turns - WIDTH)))).sum(axis=0)
    else:
        series = (np.where(k % 2 == 1, (-1.0) ** ((k - 1) // 2) * 8.0 / (np.pi * k) ** 2, 0.0) * sines).sum(axis=0)
    rest = np.abs(np.fft.rfft((y - series) * np.hanning(rate_hz))) * 4.0 / rate_hz
    fundamental = fourier(wave, np.ones(1))[0]
    assert 20.0 * math.log10(rest[:17_900].max() / fundamental) < -110.0


def test_moving_width_is_the_difference_of_two_saws() -> None:
    rate_hz, frames = 48_000, 48_000
    t = np.arange(frames) / rate_hz
    width = 0.5 + 0.4 * np.sin(2.0 * np.pi * 5.0 * t)
    turns = 0.37 + np.arange(frames) * 211.0 / rate_hz
    k = np.arange(1, 21)[:, None]
    low = (2.0 / (np.pi * k) * (np.sin(2 * np.pi * k * turns) - np.sin(2 * np.pi * k * (turns - width)))).sum(axis=0)
    rest = np.abs(np.fft.rfft((sound("pulse", 211.0, rate_hz, frames, width) - low) * np.hanning(frames)))
    assert 20.0 * math.log10(4.0 / frames * rest[:3_500].max()) < -110.0


def test_sine_is_a_sine() -> None:
    y = sound("sine", 997.0, 48_000, 48_000)
    expected = np.sin(2.0 * np.pi * (0.37 + 997.0 / 48_000 * np.arange(48_000)))
    assert np.abs(y - expected).max() < 1e-6
    assert np.abs(np.abs(hilbert(y)) - 1.0).max() < 1e-5
