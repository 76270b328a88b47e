"""The tone: harmonics of one phase, their levels moving with pitch, pressure and fingering.

y[n] = sum_k a_k[n] cos(2 pi k phase[n] + theta_k), with a_k on the control grid, joined by lines. (1)
Nothing sounds from 0.45 of the sample rate on; levels fade over the 0.05 below it.
"""

from __future__ import annotations

import math
from typing import Any

from chainsim.kernel import kernel
from chainsim.units import Array


@kernel
def harmonic_levels(
    f0_hz: float,
    gain: float,
    pressure: float,
    share: float,
    old: int,
    new: int,
    fixed_db: Array,
    tilt_db: Array,
    source_db: Array,
    log2_k: Array,
    wobble_db: Array,
    knot: int,
    knot_share: float,
    roughness: float,
    step_hz: float,
    top_hz: float,
    out: Array,
) -> int:
    """Fill `out` (harmonics,) with peak amplitudes whose sum of squares, wobble aside, is 2 gain^2; return how many."""
    fall = source_db[0] + (source_db[1] - source_db[0]) * pressure
    count = 0
    power = 0.0
    for k in range(out.shape[0]):
        out[k] = 0.0
    if gain < 1e-7:
        return 0
    strongest = -1e9
    for k in range(out.shape[0]):
        f = f0_hz * (k + 1)
        if f >= top_hz:
            break
        place = f / step_hz
        i = int(place)
        w = place - i
        even = k % 2
        a = fixed_db[2 * old + even, i] + w * (fixed_db[2 * old + even, i + 1] - fixed_db[2 * old + even, i])
        b = fixed_db[2 * new + even, i] + w * (fixed_db[2 * new + even, i + 1] - fixed_db[2 * new + even, i])
        soft = tilt_db[0, i] + w * (tilt_db[0, i + 1] - tilt_db[0, i])
        loud = tilt_db[1, i] + w * (tilt_db[1, i + 1] - tilt_db[1, i])
        level = a + share * (b - a) + soft + pressure * (loud - soft) - fall * log2_k[k]
        if level > strongest:
            strongest = level
        if level < strongest - 120.0:
            break
        amplitude = math.exp(level * 0.11512925464970229)
        fade_from = top_hz * (0.40 / 0.45)
        if f > fade_from:
            amplitude *= 0.5 + 0.5 * math.cos(math.pi * (f - fade_from) / (top_hz - fade_from))
        out[k] = amplitude
        power += amplitude * amplitude
        count = k + 1
    scale = gain * math.sqrt(2.0 / power) if power > 0.0 else 0.0
    for k in range(count):
        wobble = wobble_db[knot, k] + knot_share * (wobble_db[knot + 1, k] - wobble_db[knot, k])
        out[k] *= scale * math.exp((1.0 + roughness) * wobble * 0.11512925464970229)
    return count


@kernel
def harmonic_sum(
    phase: Array,
    bounds: Any,
    f0_hz: Array,
    gain: Array,
    pressure: Array,
    share: Array,
    old: Any,
    new: Any,
    fixed_db: Array,
    tilt_db: Array,
    source_db: Array,
    log2_k: Array,
    theta: Array,
    wobble_db: Array,
    roughness: Array,
    wobble_knots_per_frame: float,
    samples_per_frame: float,
    step_hz: float,
    top_hz: float,
    levels: Array,
    turn: Array,
    y: Array,
) -> None:
    """Fill y (1, samples).

    `phase` (samples,) is in cycles, modulo 1; control frame j spans the samples from bounds[j] to bounds[j + 1];
    `levels` (2, harmonics) and `turn` (5, most samples of a frame) are scratch.
    """
    before = 0
    for j in range(f0_hz.shape[0]):
        place = j * wobble_knots_per_frame
        knot = int(place)
        w = 0.5 - 0.5 * math.cos(math.pi * (place - knot))
        count = harmonic_levels(
            f0_hz[j], gain[j], pressure[j], share[j], old[j], new[j], fixed_db, tilt_db, source_db, log2_k,
            wobble_db, knot, w, roughness[j], step_hz, top_hz, levels[j % 2],
        )  # fmt: skip
        if j == 0:
            before = count
            continue
        first = bounds[j - 1]
        size = bounds[j] - first
        most = max(before, count)
        before = count
        for i in range(size):
            angle = 2.0 * math.pi * phase[first + i]
            turn[0, i] = math.cos(angle)
            turn[1, i] = math.sin(angle)
            turn[2, i] = turn[0, i]
            turn[3, i] = turn[1, i]
            turn[4, i] = (first + i) / samples_per_frame - (j - 1)
            y[0, first + i] = 0.0
        for k in range(most):
            start = levels[(j - 1) % 2, k]
            rise = levels[j % 2, k] - start
            c, s = math.cos(theta[k]), math.sin(theta[k])
            for i in range(size):
                level = start + rise * turn[4, i]
                y[0, first + i] += level * (c * turn[2, i] - s * turn[3, i])
                re = turn[2, i] * turn[0, i] - turn[3, i] * turn[1, i]
                turn[3, i] = turn[2, i] * turn[1, i] + turn[3, i] * turn[0, i]
                turn[2, i] = re
