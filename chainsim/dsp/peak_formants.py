"""Keeps the formants where they are while the peaks of a spectrum move.

The envelope is a line, in dB over octaves, through the peaks that stand out: those not masked by stronger ones. A
single peak in a dip between its neighbours (an even harmonic of a stopped pipe, a soft horn's harmonic beside a loud
one's) is lifted near to the line between them. A peak that moves from f to R f is given the gain

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

_PLACE, _LEVEL, _RAISED, _STANDS = 0, 1, 2, 3


def envelope_array(most: int) -> Array:
    """Room for an envelope through so many peaks."""
    return np.zeros((4, most))


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
def _envelope_at(line: Array, kept: int, place: float, at: int) -> tuple[float, int]:
    """Level of the envelope, in dB, and where it was found, from which the search for a higher place goes on."""
    while at < kept and line[_PLACE, at] < place:
        at += 1
    if at == 0:
        return line[_RAISED, 0], 0
    if at == kept:
        return line[_RAISED, kept - 1], kept
    left, right = line[_PLACE, at - 1], line[_PLACE, at]
    share = (place - left) / max(right - left, LEAST_OCTAVES)
    return line[_RAISED, at - 1] + share * (line[_RAISED, at] - line[_RAISED, at - 1]), at


@kernel
def formant_gains(
    peaks: Array, count: int, line: Array, kept: int, ratio: float, formant: float, top: float, gains: Array
) -> None:
    """Fill gains (count,) by equation (1), 0 for peaks that move beyond `top` bins.

    `line` and `kept` are of `envelope_through`.
    """
    turn = math.log2(ratio)
    old_at, new_at, before, after = np.int64(0), np.int64(0), 0.0, 0.0
    for j in range(count):
        if peaks[FREQUENCY, j] * ratio > top:
            gains[j] = 0.0
            continue
        place = math.log2(max(peaks[FREQUENCY, j], 0.5))
        old_db, old_at = _envelope_at(line, kept, place, old_at)
        new_db, new_at = _envelope_at(line, kept, place + turn, new_at)
        gains[j] = 10.0 ** (0.05 * formant * min(max(new_db - old_db, -MOST_DB), MOST_DB))
        if line[_STANDS, j] == 0.0:
            # Breath between the harmonics has no formants of theirs to follow down.
            gains[j] = max(gains[j], 1.0)
        before += peaks[REGION_POWER, j]
        after += gains[j] * gains[j] * peaks[REGION_POWER, j]
    even = math.sqrt(before / after) if after > 0.0 else 0.0
    for j in range(count):
        gains[j] *= even
