"""What a chain does to each frequency, from the sounds of a page: the take that went in, and what came out of it.

H(f) = sum of Y conj(X) / sum of |X|^2, over a few neighbouring frequencies                                    (1)

for take X and sound Y (J. S. Bendat, A. G. Piersol, Random Data, "Single-Input/Single-Output Relationships"). The
transforms are of whole sounds: all that the take set going is in them, so that (1) is exact where a chain is linear.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from chainsim.listen.lessons.excerpt import Heard
from chainsim.units import Array

SMOOTHED_HZ = 1.0
LOWEST_HZ = 20.0
LEAST_POWER = 1e-22
"""Of the strongest frequency's: below this there is only rounding."""
NOTCH_DB = 15.0
"""So far under the highest gain is a notch."""
DRAWN_FROM_HZ, DRAWN_TO_HZ = 60.0, 12_000.0
DRAWN_COLUMNS = 205


def response_db(take: Heard, heard: Heard) -> tuple[Array, Array]:
    """Gain of a chain: frequencies in Hz from 20 Hz on and gains in dB, where the take has any power."""
    x, y = np.fft.rfft(take.mono), np.fft.rfft(heard.mono)
    freq_hz = np.fft.rfftfreq(take.mono.size, 1.0 / take.sample_rate_hz)
    around = np.ones(2 * round(0.5 * SMOOTHED_HZ / freq_hz[1]) + 1)
    cross = np.convolve(y * np.conj(x), around, "same")
    power = np.convolve(np.abs(x) ** 2, around, "same")
    known = (freq_hz >= LOWEST_HZ) & (power > LEAST_POWER * np.max(power))
    gain_db: Array = 20.0 * np.log10(np.maximum(np.abs(cross[known]) / power[known], 1e-6))
    return freq_hz[known], gain_db


def notches_hz(freq_hz: Array, gain_db: Array) -> Array:
    """The bottoms of the notches, in order."""
    under = gain_db < np.max(gain_db) - NOTCH_DB
    begins = np.flatnonzero(np.diff(under.astype(np.int64), prepend=0) == 1)
    ends = np.flatnonzero(np.diff(under.astype(np.int64), append=0) == -1) + 1
    return np.array([freq_hz[a + int(np.argmin(gain_db[a:b]))] for a, b in zip(begins, ends, strict=True)])


def third_of_an_octave(middle_hz: float) -> tuple[float, float]:
    """Its ends: about as much as the ear takes together."""
    half = 2.0 ** (1.0 / 6.0)
    return middle_hz / half, middle_hz * half


def ripple_db(freq_hz: Array, gain_db: Array, low_hz: float, high_hz: float) -> float:
    """How far the highest third of an octave lies over the lowest, in dB."""
    count = int(12.0 * math.log2(high_hz / low_hz)) + 1
    power = 10.0 ** (gain_db / 10.0)
    bands = [third_of_an_octave(low_hz * 2.0 ** (k / 12.0)) for k in range(count)]
    cells = [power[(freq_hz >= low) & (freq_hz < high)] for low, high in bands]
    levels = [float(np.mean(cell)) for cell in cells if cell.size]
    return 10.0 * math.log10(max(levels) / min(levels)) if levels else math.nan


def drawn(freq_hz: Array, gain_db: Array) -> tuple[Array, Array]:
    """The lowest and the highest gain of every column of a picture, so that equal notches look equally deep."""
    edges = np.geomspace(DRAWN_FROM_HZ, min(DRAWN_TO_HZ, float(freq_hz[-1])), DRAWN_COLUMNS + 1)
    chosen: list[int] = []
    for a, b in itertools.pairwise(np.searchsorted(freq_hz, edges)):
        if b > a:
            chosen += sorted({int(a + np.argmin(gain_db[a:b])), int(a + np.argmax(gain_db[a:b]))})
    return freq_hz[chosen], gain_db[chosen]
