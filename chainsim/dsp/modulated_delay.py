"""Delays that move all the time: how fast they may, how far for a depth in cents, and a line read along them.

A delay D(t) makes of the pitch 1 - D'(t) times itself. For a pitch that moves as the wave w of unit size, r turns a
second, by c cents at the top,

    k = 2^(c / 1200) - 1,   D(t) = D0 - (k / r) W(r t),   W' = w, without mean                               (1)

For a sine that is D0 + A cos(2 pi r t) with A = k / (2 pi r); the way down is 1 - k, a little further in cents.
Reading is by `delay_line`'s Lagrange interpolation of order 5. Moving, the loss lies between none, on a sample, and
that half-way: on average 0.10 dB at 10 kHz and 0.82 dB at 15 kHz (48 kHz rate).
"""

from __future__ import annotations

import math

from chainsim.dsp.delay_line import COPIED, SPARE, lagrange5, read_between, write_sample
from chainsim.dsp.delay_motion import sine_of_turns
from chainsim.kernel import kernel
from chainsim.units import Array, Audio, Counts

SHAPES = ("sine", "triangle", "square")
"""Of the pitch."""

REACH = (0.5 / math.pi, 0.125, 0.25)
"""Largest W of each shape."""

NEWEST = 2.0
"""Shortest delay, in samples, that can be read where the newest sample is the present one."""

FASTEST = 0.5
"""Samples a sample: a delay that is told to leap bends the pitch to a half or one and a half of itself, no further."""


@kernel
def integral_of_wave(turns: float, shape: int) -> float:
    """W of equation (1) for an index into `SHAPES`."""
    if shape == 0:
        return -0.5 / math.pi * float(sine_of_turns(turns + 0.25))
    at = turns - math.floor(turns)
    if shape == 2:
        return 0.25 - abs(at - 0.5)
    near = at if at < 0.25 else at - 1.0
    if at < 0.25 or at >= 0.75:
        return 2.0 * near * near - 0.125
    return 0.125 - 2.0 * (at - 0.5) * (at - 0.5)


@kernel
def pitch_swing_delays(
    n0: int,
    tempo: Array,
    turns_per_sample: float,
    turns_per_beat: float,
    sample_rate_hz: float,
    shape: int,
    depth_cents: Array,
    centre: float,
    keep: float,
    z: Array,
    delays: Array,
) -> None:
    """Fill `delays` (frames,), in samples, by equation (1).

    Parameters
    ----------
    n0 : int
        Absolute index of frame 0.
    tempo : ndarray, shape (2, frames)
        Beats per minute, and the beat.
    turns_per_sample, turns_per_beat : float
        The rate; the one not wanted is 0.
    sample_rate_hz : float
    shape : int
        Index into `SHAPES`.
    depth_cents : ndarray, shape (frames,)
    centre : float
        D0, in samples.
    keep : float
        What is left, after a sample, of the way to a new k / r: by itself no new depth or tempo shall bend the pitch.
    z : ndarray, shape (1,)
        State: k / r in samples; nan at the start.
    """
    size, last_cents, last_bpm, aim = z[0], math.nan, math.nan, 0.0
    for i in range(delays.shape[0]):
        if depth_cents[i] != last_cents or tempo[0, i] != last_bpm:
            last_cents, last_bpm = depth_cents[i], tempo[0, i]
            per_sample = turns_per_sample + last_bpm / (60.0 * sample_rate_hz) * turns_per_beat
            aim = (math.exp(math.log(2.0) / 1200.0 * last_cents) - 1.0) / per_sample
            if math.isnan(size):
                size = aim
        if size != aim:
            size = aim + keep * (size - aim)
            if abs(size - aim) < 1e-6:
                size = aim
        turns = (n0 + i) * turns_per_sample + tempo[1, i] * turns_per_beat
        delays[i] = centre - size * integral_of_wave(turns, shape)
    z[0] = size


@kernel
def slew_delays(z: Array, delays: Array) -> None:
    """Let the rows of `delays` (lines, frames) move no faster than `FASTEST`; state z (lines,) is nan at the start."""
    for v in range(delays.shape[0]):
        d = z[v]
        for i in range(delays.shape[1]):
            target = delays[v, i]
            if abs(target - d) > FASTEST:
                target = d + math.copysign(FASTEST, target - d)
            d = target
            delays[v, i] = d
        z[v] = d


@kernel
def read_along(x: Audio, delays: Array, ring: Audio, head: Counts, y: Audio) -> None:
    """Fill y (channels, frames) with x, each sample `delays` (frames,) samples ago, at least `NEWEST`.

    ring, of the shape that `ring_shape` gives for as many lines as channels, and head (1,) are zero at the start.
    """
    mask = ring.shape[1] - COPIED - 1
    most = float(mask + 1 - SPARE)
    begin = head[0]
    for c in range(x.shape[0]):
        line, j = ring[c], begin
        for i in range(x.shape[1]):
            write_sample(line, j, x[c, i])
            d = min(max(delays[i], NEWEST), most)
            m = int(d)
            h0, h1, h2, h3, h4, h5 = lagrange5(d - m)
            y[c, i] = read_between(line, j - m, h0, h1, h2, h3, h4, h5)
            j = (j + 1) & mask
        head[0] = j
