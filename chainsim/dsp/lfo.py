"""Low frequency oscillator: a slow wave whose phase is a function of absolute time or of the beat.

    u[n] = n r / fs,   or u[n] = beat[n] c,   y[n] = wave(u[n])                                          (1)

in turns, so that it is the same wherever a render is cut. Jumps are eased over `EASE_S` as 3 t^2 - 2 t^3.
"""

from __future__ import annotations

import numpy as np

from chainsim.dsp.delay_motion import sine_of_turns
from chainsim.dsp.hashed_noise import hashed
from chainsim.kernel import kernel
from chainsim.units import Array

SHAPES = ("sine", "triangle", "saw", "square", "sample and hold")
"""Saw rises; the square begins high; sample and hold takes a new level each turn. All lie between -1 and 1."""

EASE_S = 0.002
"""How long a jump takes."""


@kernel
def _triangle(at: float) -> float:
    shifted = at + 0.75 - np.floor(at + 0.75)
    return float(4.0 * abs(shifted - 0.5) - 1.0)


@kernel
def lfo_shape(turns: float, ease: float, shape: int, seed: int) -> float:
    """Value of the wave of an index into `SHAPES` at `turns`, its jumps eased over `ease` of a turn."""
    cell = np.floor(turns)  # and not math.floor, whose whole number keeps a loop from being vectorized
    at = float(turns - cell)
    if shape == 0:
        return float(sine_of_turns(turns))
    if shape == 1:
        return float(_triangle(at))
    since = at - 0.5 if shape == 3 and at >= 0.5 else at
    t = min(since / ease, 1.0)
    come = t * t * (3.0 - 2.0 * t)
    if shape == 2:
        return 2.0 * at - 1.0 + 2.0 * (1.0 - come)
    if shape == 3:
        return 2.0 * come - 1.0 if at < 0.5 else 1.0 - 2.0 * come
    before, now = hashed(seed, int(cell) - 1), hashed(seed, int(cell))
    return float(before + (now - before) * come)


@kernel
def lfo(
    n0: int,
    tempo: Array,
    turns_per_sample: float,
    turns_per_beat: float,
    sample_rate_hz: float,
    shape: int,
    seed: int,
    y: Array,
) -> None:
    """Fill y (frames,) by equation (1).

    Parameters
    ----------
    n0 : int
        Absolute index of frame 0.
    tempo : ndarray, shape (2, frames)
        Beats per minute, and the beat.
    turns_per_sample, turns_per_beat : float
        r / fs and c; the one not wanted is 0.
    sample_rate_hz : float
    shape : int
        Index into `SHAPES`.
    seed : int
        Of sample and hold.
    """
    if shape == 0:
        for i in range(y.shape[0]):
            y[i] = sine_of_turns((n0 + i) * turns_per_sample + tempo[1, i] * turns_per_beat)
        return
    if shape == 1:
        for i in range(y.shape[0]):
            turns = (n0 + i) * turns_per_sample + tempo[1, i] * turns_per_beat
            y[i] = _triangle(turns - np.floor(turns))
        return
    for i in range(y.shape[0]):
        turns = (n0 + i) * turns_per_sample + tempo[1, i] * turns_per_beat
        rate_hz = turns_per_sample * sample_rate_hz + tempo[0, i] / 60.0 * turns_per_beat
        y[i] = lfo_shape(turns, min(EASE_S * rate_hz, 0.25) + 1e-12, shape, seed)
