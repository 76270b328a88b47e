"""Tables of one period, with as many harmonics as fit under half the sample rate: saw, triangle and sine.

    saw(p) = sum of 2 / (pi k) sin(2 pi k p)                                                          (1)
    triangle(p) = sum over odd k of (-1)^((k - 1) / 2) 8 / (pi k)^2 sin(2 pi k p)                     (2)

summed to k = H. Between two tables lies a crossfade, inside the span in which the harmonics that one of them lacks are
over `PASS` of the top and those of the other still under it. So nothing folds, and nothing under `PASS` is missing.

A table holds the coefficients of the cubic B-spline through the period rather than the period itself. They are made
from the series, where the spline's own response is known, sinc^4(k / N) [1]_: so each harmonic k comes out exact, and
its images around N, where a table of N points has them, are (k / (N - k))^4 of it.

References
----------
.. [1] M. Unser, "Splines: A Perfect Fit for Signal and Image Processing", IEEE Signal Processing Magazine 16(6), 1999.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from chainsim.units import Array

Period = Literal["saw", "triangle", "sine"]

TOP_HZ = 24_000.0
"""No harmonic is put above this, whatever the sample rate."""

PASS = 0.82
"""Share of the top (half the sample rate, or `TOP_HZ`) under which no harmonic is missing: 18.08 kHz at 44.1 kHz."""

MOST_HARMONICS = 1_800
"""Reaches the top from 12 Hz on; lower pitches end lower."""

_NARROWEST_FADE = 1.04
_IMAGES = 1e-6
_PADDING = 3


@dataclass(frozen=True)
class Tables:
    """Tables of one waveform, the richest first; read by `chainsim.dsp.oscillator`.

    Attributes
    ----------
    points : ndarray
        All spline coefficients in a row, each table with its first three points again behind its last.
    first, size : ndarray of int64, shape (tables,)
        Where each begins in `points`, and its length, a power of two.
    fade_from, fade_to : ndarray, shape (tables,)
        Fundamental, as a share of the top, from which each table gives way to the next, and at which it has.
    """

    points: Array
    first: npt.NDArray[np.int64]
    size: npt.NDArray[np.int64]
    fade_from: Array
    fade_to: Array


def top_hz(sample_rate_hz: float) -> float:
    """Frequency under which all harmonics are kept."""
    return min(0.5 * sample_rate_hz, TOP_HZ)


@functools.cache
def tables(period: Period) -> Tables:
    """Tables of a waveform, made once."""
    counts = [1] if period == "sine" else _harmonic_counts()
    parts = [_spline_coefficients(_series(period, count)) for count in counts]
    lengths = [part.size for part in parts]
    poorer = np.array([*counts[1:], 0.0])
    fade_from = np.append(PASS / (poorer[:-1] + 1.0), np.inf)
    fade_to = np.append(1.0 / np.array(counts[:-1], dtype=np.float64), np.inf)
    return Tables(
        points=np.concatenate(parts),
        first=np.concatenate([[0], np.cumsum(lengths)[:-1]]).astype(np.int64),
        size=np.array(lengths, dtype=np.int64) - _PADDING,
        fade_from=fade_from,
        fade_to=fade_to,
    )


def _harmonic_counts() -> list[int]:
    """How many harmonics each table has, the most first; steps as wide as the crossfades allow."""
    counts = [1]
    while counts[-1] < MOST_HARMONICS:
        counts.append(int((counts[-1] + 1) / (PASS * _NARROWEST_FADE)))
    return counts[::-1]


def _series(period: Period, count: int) -> Array:
    """Amplitudes of the sines, index 0 being the fundamental: equations (1) and (2)."""
    k = np.arange(1.0, count + 1.0)
    if period == "sine":
        return np.ones(1)
    if period == "saw":
        return 2.0 / (np.pi * k)
    signs = np.where(k % 2 == 1, 1.0 - (k - 1.0) % 4, 0.0)
    return 8.0 * signs / (np.pi * k) ** 2


def _spline_coefficients(amplitudes: Array) -> Array:
    count = amplitudes.size
    size = 64
    while (count / (size - count)) ** 4 > _IMAGES * count:
        size *= 2
    k = np.arange(1.0, count + 1.0)
    spectrum = np.zeros(size // 2 + 1, dtype=np.complex128)
    spectrum[1 : count + 1] = -0.5j * size * amplitudes / np.sinc(k / size) ** 4
    # The spline reads from the point before: one point early, which the table makes up for.
    spectrum *= np.exp(-2j * np.pi * np.arange(spectrum.size) / size)
    period = np.fft.irfft(spectrum, size) / 6.0
    return np.concatenate([period, period[:_PADDING]])
