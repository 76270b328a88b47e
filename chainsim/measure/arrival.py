"""When what went in first comes out again: by cross-correlation of noise, and by the onset of a click.

    r(t) = sum x[n] w[n + t] / sqrt(sum x^2 sum w^2)                                                              (1)

where w is the output y made white by a filter without phase, so that a dark sound is found as well as a bright one.
Every copy of the input in the output is a peak of |r|, read between samples; the arrival is the earliest that is not
much lower than the highest. An equalizer moves a peak by its own group delay.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chainsim.measure.decay import find_onset
from chainsim.units import Array, Audio

LEAST_CORRELATION = 0.2
"""Far from what unrelated noise reaches in 0.5 s, 0.03, and more than a single reflection of a reverb does."""
LEAST_SHARE = 0.25
"""Of the highest peak: a copy up to 12 dB down still counts as the shortest way."""
WHITENED_HZ = 50.0
FAINTEST = 10.0 ** (-50.0 / 20.0)
"""How far under its loudest a frequency may lie and still be brought up."""
RIPPLE_S = 0.001
"""Within so much of a higher peak it is a filter's ringing."""
REACH, FINE = 64, 16
"""Samples to either side, and steps a sample, of the curve between samples."""


@dataclass(frozen=True)
class Arrival:
    """A copy of the input in the output: `samples` after it, fractional, correlated with the whole by so much."""

    samples: float
    correlation: float


def find_copies(x: Array, y: Audio, sample_rate_hz: float) -> tuple[Arrival, ...]:
    """Find noise x (frames,) in the output y (channels, frames), which is longer; all its copies in order of time."""
    from scipy.ndimage import uniform_filter1d
    from scipy.signal import find_peaks

    if not y.any():
        return ()
    size = 1 << (x.size + y.shape[1]).bit_length()
    spectrum = np.fft.rfft(y, size)
    width = max(1, round(WHITENED_HZ * size / sample_rate_hz))
    colour = np.sqrt(uniform_filter1d(np.abs(spectrum) ** 2, width, axis=1, mode="nearest"))
    white = spectrum / np.maximum(colour, FAINTEST * np.max(colour))
    norm = np.sqrt(np.sum(x**2) * np.maximum(np.sum(np.fft.irfft(white, size) ** 2, axis=1), 1e-300))
    rows = np.fft.irfft(white * np.conj(np.fft.rfft(x, size)), size)[:, : y.shape[1]] / norm[:, np.newaxis]  # (1)
    padded = np.concatenate([[0.0], np.max(np.abs(rows), axis=0)])
    distance = max(1, round(RIPPLE_S * sample_rate_hz))
    peaks = find_peaks(padded, height=LEAST_CORRELATION, distance=distance, plateau_size=1)[0] - 1
    loudest = np.argmax(np.abs(rows[:, peaks]), axis=0)
    return tuple(
        Arrival(_top(rows[row], int(peak)), float(abs(rows[row, peak])))
        for row, peak in zip(loudest, peaks, strict=True)
    )


def first_copy(copies: Sequence[Arrival]) -> Arrival | None:
    """The earliest copy that counts as the shortest way; None without copies."""
    highest = max((c.correlation for c in copies), default=0.0)
    return next((c for c in copies if c.correlation >= LEAST_SHARE * highest), None)


def find_click(y: Audio) -> int | None:
    """First frame at which the output (channels, frames) of a click comes within 20 dB of its peak, or None."""
    loudest = np.max(np.abs(y), axis=0)
    return find_onset(loudest) if loudest.any() else None


def _top(r: Array, peak: int) -> float:
    """Where the band-limited curve through r has its top next to `peak`: a windowed sinc, then a parabola."""
    first, last = max(0, peak - REACH), min(r.size, peak + REACH + 1)
    if not 0 < peak < r.size - 1:
        return float(peak)
    at = peak + np.arange(-FINE, FINE + 1) / FINE
    way = at[:, np.newaxis] - np.arange(first, last)
    curve = np.abs((np.sinc(way) * np.cos(0.5 * np.pi * way / (REACH + 1)) ** 2) @ r[first:last])
    k = min(max(int(np.argmax(curve)), 1), curve.size - 2)
    before, top, after = (float(v) for v in curve[k - 1 : k + 2])
    bend = before - 2.0 * top + after
    return float(at[k]) + (0.5 * (before - after) / bend / FINE if bend < 0.0 else 0.0)
