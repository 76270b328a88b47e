"""Measures that know nothing of the synthesis: FFT peaks, autocorrelation, short-time level, centroid."""

from __future__ import annotations

import functools

import numpy as np

from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.play import HornTake, play
from chainsim.units import Array

RATE_HZ = 48_000


@functools.cache
def one_note(note: Note, horn: str = "tenor sax", *, clean: bool = False) -> HornTake:
    """Play a note alone; clean: no noise, nothing wanders."""
    phrase = Phrase("one note", 60.0, (note,), horn)
    if clean:
        return play(phrase, unsteadiness=0.0, breath=0.0, floor_dbfs=-np.inf, lead_s=0.2, tail_s=0.2)
    return play(phrase, lead_s=0.2, tail_s=0.2)


@functools.cache
def played(phrase: Phrase) -> HornTake:
    """Play a phrase as `play` does by default."""
    return play(phrase)


def span(take: HornTake, begin_s: float, end_s: float) -> Array:
    """Samples between two times after the first onset."""
    first = take.onsets_s[0]
    return take.audio[round((first + begin_s) * RATE_HZ) : round((first + end_s) * RATE_HZ)]


def peak_hz(x: Array, near_hz: float) -> float:
    """Frequency of the spectral peak within a semitone of `near_hz`: zero-padded Hann FFT, parabola through dB."""
    size = 1 << 19
    level = np.log(np.abs(np.fft.rfft(x * np.hanning(x.size), size)) + 1e-12)
    low, high = (round(near_hz * r * size / RATE_HZ) for r in (0.944, 1.06))
    i = low + int(np.argmax(level[low:high]))
    a, b, c = level[i - 1 : i + 2]
    return float((i + 0.5 * (a - c) / (a - 2.0 * b + c)) * RATE_HZ / size)


def period_hz(x: Array, near_hz: float, octaves: float = 0.5) -> float:
    """Frequency by the highest normalized autocorrelation within some octaves of `near_hz`."""
    low, high = (int(RATE_HZ / near_hz * 2.0**o) for o in (-octaves, octaves))
    size = x.size - high - 2
    r = np.array([
        np.dot(x[:size], x[lag : lag + size])
        / np.sqrt(np.dot(x[:size], x[:size]) * np.dot(x[lag : lag + size], x[lag : lag + size]))
        for lag in range(low, high + 2)
    ])  # fmt: skip
    i = int(np.clip(np.argmax(r), 1, r.size - 2))
    a, b, c = r[i - 1 : i + 2]
    return float(RATE_HZ / (low + i + 0.5 * (a - c) / (a - 2.0 * b + c)))


def cents(f_hz: float, reference_hz: float) -> float:
    return float(1200.0 * np.log2(f_hz / reference_hz))


def level_db(x: Array) -> float:
    return float(10.0 * np.log10(np.mean(x**2) + 1e-20))


def levels_db(x: Array, window_s: float = 0.004) -> Array:
    """RMS level around every sample."""
    size = round(window_s * RATE_HZ)
    return 10.0 * np.log10(np.convolve(x**2, np.ones(size) / size, "same") + 1e-20)


def centroid_hz(x: Array) -> float:
    spectrum = np.abs(np.fft.rfft(x * np.hanning(x.size))) ** 2
    return float(np.sum(np.fft.rfftfreq(x.size, 1.0 / RATE_HZ) * spectrum) / np.sum(spectrum))


def harmonics_db(x: Array, f0_hz: float, count: int) -> Array:
    """Levels of harmonics 1 to `count`."""
    level = 20.0 * np.log10(np.abs(np.fft.rfft(x * np.blackman(x.size))) + 1e-12)
    width = max(2, round(0.1 * f0_hz * x.size / RATE_HZ))
    at = [round(k * f0_hz * x.size / RATE_HZ) for k in range(1, count + 1)]
    return np.array([level[i - width : i + width + 1].max() for i in at])
