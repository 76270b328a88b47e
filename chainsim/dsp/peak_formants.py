"""Keeps the formants where they are while the peaks of a spectrum move.

The envelope is a line, in dB over octaves, through the peaks that stand out: those not masked by stronger ones. A
single peak in a dip between its neighbours (an even harmonic of a stopped pipe, a soft horn's harmonic beside a loud
one's) is lifted near to the line between them. The timbre E follows the envelope, relative to the frame's loudness, up
at once and down slowly. A peak that moves from f to R f is given the gain

    g = (E(R f) / E(f))^formant                                                                                 (1)

but a masked one is not made softer, and all of them together keep the power of the frame.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.spectral_peaks import FREQUENCY, POWER, REGION_POWER
from chainsim.kernel import kernel
from chainsim.units import Array

MASK_DB = 18.0
UP_DB, DOWN_DB = 12.0, 24.0
"""A peak hides what is `MASK_DB` weaker, and so much more for each octave above or below it."""

LOWEST_DB = 30.0
"""The envelope begins at the lowest peak that is at most so much weaker than the strongest: below it is no tone."""

LEAST_OCTAVES = 1e-9
"""Between two places, so that no line is upright."""

MOST_DB = 40.0
"""Limit of the gain (1) to either side."""

PLACES = 24
"""In an octave, at which the timbre is kept, from `FIRST_PLACE` on."""

FIRST_PLACE = -1.0
"""Octaves above a bin."""

RISE_S, FALL_S = 0.02, 0.7
"""Time to 1 - 1/e in which the timbre follows upwards and downwards: partials of two notes that beat come and go, and
what the horns are made of does not."""

_PLACE, _LEVEL, _RAISED, _STANDS = 0, 1, 2, 3


def envelope_array(most: int) -> Array:
    """Room for an envelope through so many peaks."""
    return np.zeros((4, most))


def timbre_array(n: int) -> Array:
    """Room for the timbre of frames of n samples."""
    return np.zeros(round(PLACES * (math.log2(n / 2) - FIRST_PLACE)) + 1)


@kernel
def envelope_through(peaks: Array, count: int, line: Array) -> int:
    """Fill `line` with the peaks that stand out, in octaves and dB, and with which ones do; return how many do."""
    strongest = -math.inf
    mask, before = -math.inf, 0.0
    for j in range(count):
        place = math.log2(max(peaks[FREQUENCY, j], 0.5))
        level = 10.0 * math.log10(peaks[POWER, j])
        mask -= UP_DB * max(place - before, 0.0)
        line[_PLACE, j], line[_LEVEL, j], before = place, level, place
        line[_STANDS, j] = 1.0 if level >= mask else 0.0
        mask, strongest = max(mask, level - MASK_DB), max(strongest, level)
    mask = -math.inf
    for j in range(count - 1, -1, -1):
        place, level = line[_PLACE, j], line[_LEVEL, j]
        mask -= DOWN_DB * max(before - place, 0.0)
        before = place
        if level < mask:
            line[_STANDS, j] = 0.0
        mask = max(mask, level - MASK_DB)
    kept = 0
    for j in range(count):
        if kept == 0 and line[_LEVEL, j] < strongest - LOWEST_DB:
            line[_STANDS, j] = 0.0
        if line[_STANDS, j] > 0.0:
            line[_PLACE, kept], line[_LEVEL, kept], line[_RAISED, kept] = (
                line[_PLACE, j],
                line[_LEVEL, j],
                line[_LEVEL, j],
            )
            kept += 1
    for j in range(1, kept - 1):
        left, right = line[_PLACE, j - 1], line[_PLACE, j + 1]
        share = (line[_PLACE, j] - left) / max(right - left, LEAST_OCTAVES)
        between = line[_LEVEL, j - 1] + share * (line[_LEVEL, j + 1] - line[_LEVEL, j - 1])
        line[_RAISED, j] = max(line[_LEVEL, j], between)
    return kept


@kernel
def settle_timbre(peaks: Array, count: int, line: Array, kept: int, rise: float, fall: float, timbre: Array) -> None:
    """Let `timbre` follow `line`, of `envelope_through`; `rise` and `fall` are left of the way up and down to it."""
    power = 0.0
    for j in range(count):
        power += peaks[REGION_POWER, j]
    loudness_db, at = 10.0 * math.log10(power), 0
    for g in range(timbre.shape[0]):
        place = FIRST_PLACE + g / PLACES
        while at < kept and line[_PLACE, at] < place:
            at += 1
        if at == 0 or at == kept:
            level = line[_RAISED, min(at, kept - 1)]
        else:
            left, right = line[_PLACE, at - 1], line[_PLACE, at]
            share = (place - left) / max(right - left, LEAST_OCTAVES)
            level = line[_RAISED, at - 1] + share * (line[_RAISED, at] - line[_RAISED, at - 1])
        level -= loudness_db
        timbre[g] = level + (rise if level > timbre[g] else fall) * (timbre[g] - level)


@kernel
def _timbre_at(timbre: Array, place: float) -> float:
    """Level, in dB, at a place in octaves."""
    t = min(max((place - FIRST_PLACE) * PLACES, 0.0), timbre.shape[0] - 1.001)
    g = int(t)
    return float(timbre[g] + (t - g) * (timbre[g + 1] - timbre[g]))


@kernel
def formant_gains(
    peaks: Array, count: int, line: Array, timbre: Array, ratio: float, formant: float, top: float, gains: Array
) -> None:
    """Fill gains (count,) by equation (1), 0 for peaks that move beyond `top` bins."""
    turn = math.log2(ratio)
    before, after = 0.0, 0.0
    for j in range(count):
        if peaks[FREQUENCY, j] * ratio > top:
            gains[j] = 0.0
            continue
        place = math.log2(max(peaks[FREQUENCY, j], 0.5))
        change_db = formant * (_timbre_at(timbre, place + turn) - _timbre_at(timbre, place))
        gains[j] = 10.0 ** (0.05 * min(max(change_db, -MOST_DB), MOST_DB))
        if line[_STANDS, j] == 0.0:
            # Breath between the harmonics has no formants of theirs to follow down.
            gains[j] = max(gains[j], 1.0)
        before += peaks[REGION_POWER, j]
        after += gains[j] * gains[j] * peaks[REGION_POWER, j]
    even = math.sqrt(before / after) if after > 0.0 else 0.0
    for j in range(count):
        gains[j] *= even
