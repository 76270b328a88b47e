"""How the reading point of a delay line moves: gliding, crossfading, and swaying slowly.

Reads are given by three rows (3, frames): the delay heard, the delay on the way out (both in samples), and the share
s of the first; y = s x[n - heard] + (1 - s) x[n - leaving].

Gliding, the reading point is a body drawn to the target D and damped so that it does not overshoot:

    v' = v + 4 a (min(max(a (D - d), -1), 1/2) - v),   d' = d + v'                                             (1)

What is heard meanwhile has 1 - v times its pitch: an octave up or down at the most. A short way takes the time of two
equal one-poles in a row with time constant 1 / (2 a); a long one takes as long as the octave asks.

Crossfading, s goes from 0 to 1 as 3 p^2 - 2 p^3; the shares add up to 1, so that no loop grows. A target that
moves during a crossfade is taken up at its end.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.dsp.delay_line import LEAST
from chainsim.dsp.envelope import TWO_POLES
from chainsim.kernel import kernel
from chainsim.units import Array

ARRIVED = 1e-5
"""Samples from the target, and samples a sample, at which a glide has arrived."""


def glide_pull(glide_ms: float, sample_rate_hz: float) -> float:
    """Coefficient a of equation (1) that takes `glide_ms` > 0 to 1 - 1/e of a short way."""
    return 500.0 * TWO_POLES / (glide_ms * sample_rate_hz)


@kernel
def glide_reads(pull: float, z: Array, reads: Array) -> None:
    """Equation (1): turn row 0 of `reads` (3, frames), at entry the target, into the delay heard.

    State z (2,): d and v; d is nan before the first sample, which begins at its target.
    """
    d, v = z[0], z[1]
    for i in range(reads.shape[1]):
        target = reads[0, i]
        if math.isnan(d):
            d = target
        if d != target or v != 0.0:
            v += 4.0 * pull * (min(max(pull * (target - d), -1.0), 0.5) - v)
            d += v
            if abs(target - d) < ARRIVED and abs(v) < ARRIVED:
                d, v = target, 0.0
        reads[0, i] = d
        reads[1, i] = d
        reads[2, i] = 1.0
    z[0], z[1] = d, v


@kernel
def crossfade_reads(length: int, z: Array, left: npt.NDArray[np.int64], reads: Array) -> None:
    """Turn row 0 of `reads` (3, frames), at entry the target, into reads that crossfade over `length` samples.

    State z (2,): the two delays, nan before the first sample; left (1,) int64: samples until the crossfade ends.
    """
    heard, leaving, rest = z[0], z[1], left[0]
    for i in range(reads.shape[1]):
        target = reads[0, i]
        if math.isnan(heard):
            heard, leaving = target, target
        if rest == 0 and target != heard:
            heard, leaving, rest = target, heard, length
        share = 1.0
        if rest > 0:
            rest -= 1
            p = 1.0 - rest / length
            share = p * p * (3.0 - 2.0 * p)
        reads[0, i] = heard
        reads[1, i] = leaving
        reads[2, i] = share
    z[0], z[1], left[0] = heard, leaving, rest


@kernel
def sine_of_turns(turns: float) -> float:
    """Sine of 2 pi times `turns`, within 6e-8: Taylor's series on a quarter of the circle."""
    u = turns - np.floor(turns + 0.5)
    if u > 0.25:
        u = 0.5 - u
    elif u < -0.25:
        u = -0.5 - u
    t = 2.0 * math.pi * u
    s = t * t
    return float(t * (1.0 + s * (-1 / 6 + s * (1 / 120 + s * (-1 / 5040 + s * (1 / 362880 - s * (1 / 39916800)))))))


@kernel
def sway_reads(n0: int, turns_per_sample: float, depth_ms: Array, samples_per_ms: float, reads: Array) -> None:
    """Add depth times the sine of absolute time to both delays of `reads`, and keep the depth inside the line."""
    for i in range(reads.shape[1]):
        if depth_ms[i] != 0.0:
            sine = sine_of_turns((n0 + i) * turns_per_sample)
            depth = depth_ms[i] * samples_per_ms
            for k in range(2):
                reads[k, i] += min(depth, reads[k, i] - LEAST) * sine
