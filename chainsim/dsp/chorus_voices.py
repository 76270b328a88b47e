"""Voices of a chorus: where each reads the line, and their sum between left and right.

    D_v[n] = D0_v + depth ((1 - s) w_v[n] + s h_v[n])                                                            (1)

with w_v the voice's turn of a common LFO and h_v a wandering of its own: smooth (3 t^2 - 2 t^3) between seeded values
-1 to 1 on a grid of `GRID_S`. As no two of them wander alike, the voices never meet twice in the same way.
"""

from __future__ import annotations

import math

from chainsim.dsp.delay_line import COPIED, SPARE, lagrange5, read_between, write_sample
from chainsim.dsp.hashed_noise import hashed
from chainsim.dsp.modulated_delay import NEWEST
from chainsim.kernel import kernel
from chainsim.units import Array, Audio, Counts

GRID_S = 1.3

_APART = 7919


@kernel
def wandering_delays(
    n0: int,
    depth_ms: Array,
    centres: Array,
    share: float,
    seed: int,
    sample_rate_hz: float,
    delays: Array,
) -> None:
    """Turn `delays` (voices, frames), at entry w_v, into equation (1), in samples.

    Parameters
    ----------
    n0 : int
        Absolute index of frame 0.
    depth_ms : ndarray, shape (frames,)
        No voice goes further than its line is long.
    centres : ndarray, shape (voices,)
        D0_v, in samples.
    share : float
        s, 0 to 1.
    seed : int
    sample_rate_hz : float
    """
    cells_per_sample, samples_per_ms = 1.0 / (GRID_S * sample_rate_hz), 0.001 * sample_rate_hz
    for v in range(delays.shape[0]):
        last, before, after = -1, 0.0, 0.0
        for i in range(delays.shape[1]):
            place = (n0 + i) * cells_per_sample
            cell = math.floor(place)
            if cell != last:
                last = cell
                before, after = hashed(seed + _APART * v, cell), hashed(seed + _APART * v, cell + 1)
            t = place - cell
            wander = before + t * t * (3.0 - 2.0 * t) * (after - before)
            depth = min(depth_ms[i] * samples_per_ms, centres[v] - NEWEST)
            delays[v, i] = centres[v] + depth * ((1.0 - share) * delays[v, i] + share * wander)


@kernel
def sum_voices(
    x: Audio, delays: Array, gains: Array, dry: Array, wet: Array, ring: Audio, head: Counts, y: Audio
) -> None:
    """Fill y (channels, frames) with dry times x plus wet times the sum of the voices.

    Parameters
    ----------
    x : ndarray, shape (1 or channels, frames)
        A mono sound is heard by all voices; of a stereo one the left side only on the left.
    delays : ndarray, shape (voices, frames)
        In samples.
    gains : ndarray, shape (voices, channels)
    dry, wet : ndarray, shape (frames,)
        Gains.
    ring : ndarray, of the shape that `ring_shape` gives for as many lines as x has channels
    head : ndarray of int64, shape (1,)
        As the ring, zero at the start.
    y : ndarray, shape (channels, frames)
    """
    mask = ring.shape[1] - COPIED - 1
    most = float(mask + 1 - SPARE)
    right, wide, pair = y.shape[0] - 1, x.shape[0] == 2, y.shape[0] == 2
    x0, x1, line0, line1 = x[0], x[x.shape[0] - 1], ring[0], ring[ring.shape[0] - 1]
    j = head[0]
    for i in range(x.shape[1]):
        write_sample(line0, j, x0[i])
        if wide:
            write_sample(line1, j, x1[i])
        left_sum, right_sum = 0.0, 0.0
        for v in range(delays.shape[0]):
            d = min(max(delays[v, i], NEWEST), most)
            m = int(d)
            h0, h1, h2, h3, h4, h5 = lagrange5(d - m)
            heard = read_between(line0, j - m, h0, h1, h2, h3, h4, h5)
            left_sum += gains[v, 0] * heard
            if wide:
                heard = read_between(line1, j - m, h0, h1, h2, h3, h4, h5)
            if pair:
                right_sum += gains[v, right] * heard
        y[0, i] = dry[i] * x0[i] + wet[i] * left_sum
        if pair:
            y[1, i] = dry[i] * x1[i] + wet[i] * right_sum
        j = (j + 1) & mask
    head[0] = j
