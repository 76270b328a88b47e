"""A short, moving delay with feedback beside the sound as it came, which may itself be late by a fixed time.

    w[n] = line[n - D[n]],   line[n] = x[n] + g w[n],   y[n] = dry x[n - T] + wet sqrt(1 - g^2) w[n]             (1)

D travels evenly in its logarithm, so that the comb's teeth travel evenly in octaves; or, where it is to pass T, evenly
from T - L to T + L:

    D = longest (shortest / longest)^p,  p = (1 + w) / 2;     D = T + L w                                        (2)

Reading takes what lies between two samples, with a gain nowhere above 1, and a moving D stretches or squeezes the sound
in time, not in size: so the loop needs no limit for |g| < 1.
"""

from __future__ import annotations

import math

from chainsim.dsp.delay_line import COPIED, LEAST, SPARE, lagrange5, read_between, write_sample
from chainsim.kernel import kernel
from chainsim.units import Array, Audio, Counts


@kernel
def sweep_delays(shortest_ms: Array, longest_ms: Array, passed: float, samples_per_ms: float, delays: Audio) -> None:
    """Turn `delays` (channels, frames), at entry w, into D of equation (2), in samples.

    `passed` is T in samples, or 0 for the first law; shortest_ms and longest_ms are of shape (frames,).
    """
    for c in range(delays.shape[0]):
        last_short, last_long, start, span = math.nan, math.nan, 0.0, 0.0
        for i in range(delays.shape[1]):
            if passed > 0.0:
                delays[c, i] = passed + longest_ms[i] * samples_per_ms * delays[c, i]
                continue
            if shortest_ms[i] != last_short or longest_ms[i] != last_long:
                last_short, last_long = shortest_ms[i], longest_ms[i]
                start, span = math.log(last_long * samples_per_ms), math.log(last_short / last_long)
            delays[c, i] = math.exp(start + span * (0.5 + 0.5 * delays[c, i]))


@kernel
def flanger_loop(
    x: Audio,
    delays: Audio,
    late: int,
    feedback_percent: Array,
    dry: Array,
    wet: Array,
    ring: Audio,
    straight: Audio,
    head: Counts,
    y: Audio,
) -> None:
    """Fill y (channels, frames) by equation (1).

    Parameters
    ----------
    x : ndarray, shape (1 or channels, frames)
    delays : ndarray, shape (channels, frames)
        D in samples, at least `delay_line.LEAST`.
    late : int
        T in samples.
    feedback_percent, dry, wet : ndarray, shape (frames,)
        100 g, between -100 and 100 without these, and two gains.
    ring, straight : ndarray, of one shape, that `ring_shape` gives for as many lines as channels
        The loop, and x for T.
    head : ndarray of int64, shape (1,)
        As the rings, zero at the start.
    y : ndarray, shape (channels, frames)
    """
    mask = ring.shape[1] - COPIED - 1
    most = float(mask + 1 - SPARE)
    begin = head[0]
    for c in range(y.shape[0]):
        sound, line, kept, j = x[min(c, x.shape[0] - 1)], ring[c], straight[c], begin
        last, g, even = math.nan, 0.0, 1.0
        for i in range(y.shape[1]):
            if feedback_percent[i] != last:
                last = feedback_percent[i]
                g = 0.01 * last
                even = math.sqrt(1.0 - g * g)
            d = min(max(delays[c, i], LEAST), most)
            m = int(d)
            h0, h1, h2, h3, h4, h5 = lagrange5(d - m)
            w = read_between(line, j - m, h0, h1, h2, h3, h4, h5)
            write_sample(line, j, sound[i] + g * w)
            as_it_came = sound[i]
            if late > 0:
                write_sample(kept, j, as_it_came)
                as_it_came = kept[(j - late) & mask]
            y[c, i] = dry[i] * as_it_came + wet[i] * (even * w)
            j = (j + 1) & mask
        head[0] = j
