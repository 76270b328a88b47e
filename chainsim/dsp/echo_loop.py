"""The feedback loop of an echo: line, first-order high and low cut, gain and a soft limit.

    v[n] = line read at its delay,   w = low cut(high cut(v)),   line[n] = x[n] + limit(g[n] w[n])              (1)

Both cuts are trapezoidal one-poles with G = t / (1 + t), t = tan(pi fc / fs):

    e = v - s,  s' = s + 2 G e,  low = v - (1 - G) e                                                           (2)

The limit leaves everything below a half (-6 dBFS) alone and bends what is above towards 1, without a corner:

    limit(u) = u for |u| <= 1/2, else sign(u) (1 - 1 / (4 |u|))                                                (3)

so that what goes round never passes 1, whatever the gain.
Source: V. Zavalishin, The Art of VA Filter Design (one-poles); (3) is our own choice.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.dsp.delay_line import COPIED, LEAST, SPARE, lagrange5, read_between, write_sample
from chainsim.dsp.envelope import FLUSH
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

LOW_CUT_OFF_HZ = 10.0
LOW_CUT_FULL_HZ = 20.0
HIGH_CUT_FULL_HZ = 16_000.0
HIGH_CUT_OFF_HZ = 18_000.0
"""Between "full" and "off" a cut fades out, so that a moving cutoff may reach "off" without a step."""

TOP = 0.45
"""Highest cutoff, as a share of the sample rate."""


@kernel
def cut_gain(cutoff_hz: float, sample_rate_hz: float) -> float:
    """G of equation (2)."""
    t = math.tan(math.pi * min(cutoff_hz, TOP * sample_rate_hz) / sample_rate_hz)
    return t / (1.0 + t)


@kernel
def low_cut_share(cutoff_hz: float) -> float:
    """How far the low cut is switched on: 0 at `LOW_CUT_OFF_HZ`, 1 from `LOW_CUT_FULL_HZ` on."""
    return min(max((cutoff_hz - LOW_CUT_OFF_HZ) / (LOW_CUT_FULL_HZ - LOW_CUT_OFF_HZ), 0.0), 1.0)


@kernel
def high_cut_share(cutoff_hz: float) -> float:
    """How far the high cut is switched on: 0 at `HIGH_CUT_OFF_HZ`, 1 up to `HIGH_CUT_FULL_HZ`."""
    return min(max((HIGH_CUT_OFF_HZ - cutoff_hz) / (HIGH_CUT_OFF_HZ - HIGH_CUT_FULL_HZ), 0.0), 1.0)


@kernel
def soft_limit(u: float) -> float:
    """Equation (3)."""
    size = abs(u)
    return u if size <= 0.5 else math.copysign(1.0 - 0.25 / size, u)


@kernel
def high_cut_weights(cutoff_hz: float, sample_rate_hz: float) -> tuple[float, float, float]:
    """Weights (p, b, k) of a high cut: s' = p s + b v, output (1 - k) v + k s."""
    gain = cut_gain(cutoff_hz, sample_rate_hz)
    return 1.0 - 2.0 * gain, 2.0 * gain, high_cut_share(cutoff_hz) * (1.0 - gain)


@kernel
def low_cut_weights(cutoff_hz: float, sample_rate_hz: float) -> tuple[float, float, float, float]:
    """Weights (p, b, k, r) of a low cut: s' = p s + b v, output k v - r s."""
    gain, share = cut_gain(cutoff_hz, sample_rate_hz), low_cut_share(cutoff_hz)
    return 1.0 - 2.0 * gain, 2.0 * gain, 1.0 - share * gain, share * (1.0 - gain)


@kernel
def echo_tick(
    v: float,
    s0: float,
    s1: float,
    pl: float,
    bl: float,
    kl: float,
    rl: float,
    ph: float,
    bh: float,
    kh: float,
) -> tuple[float, float, float]:
    """One sample of the cuts, with weights as above: returns w and the new states of the high and of the low cut."""
    u = (1.0 - kh) * v + kh * s0
    w = kl * u - rl * s1
    s0 = ph * s0 + bh * v
    s1 = pl * s1 + bl * u
    if v == 0.0:
        if abs(s0) < FLUSH:
            s0 = 0.0
        if abs(s1) < FLUSH:
            s1 = 0.0
    return w, s0, s1


@kernel
def echo_loop(
    x: Audio,
    reads: Array,
    feedback_percent: Array,
    low_cut_hz: Array,
    high_cut_hz: Array,
    dry: Array,
    wet: Array,
    crossed: int,
    sample_rate_hz: float,
    ring: Audio,
    head: npt.NDArray[np.int64],
    z: Array,
    y: Audio,
) -> None:
    """Fill y (channels, frames) with dry times x plus wet times w of equation (1).

    Parameters
    ----------
    x : ndarray, shape (1 or channels, frames)
    reads : ndarray, shape (3, frames)
        See `chainsim.dsp.delay_motion`.
    feedback_percent, low_cut_hz, high_cut_hz, dry, wet : ndarray, shape (frames,)
        100 g, cutoffs and two gains.
    crossed : int
        1: there are two lines, each feeds the other, and the first alone takes the input, folded to mono.
    ring : ndarray, of the shape that `ring_shape` gives for as many lines as channels
    head : ndarray of int64, shape (1,)
    z : ndarray, shape (channels, 2)
        States s of the high and of the low cut; ring, head and z are zero at the start.
    """
    pair = y.shape[0] == 2
    right = y.shape[0] - 1
    x0, x1, y0, y1, line0, line1 = x[0], x[x.shape[0] - 1], y[0], y[right], ring[0], ring[right]
    a0, b0, a1, b1 = z[0, 0], z[0, 1], z[right, 0], z[right, 1]
    mask = ring.shape[1] - COPIED - 1
    most = float(mask + 1 - SPARE)
    j = head[0]
    last_low, last_high, last_read, last_left = math.nan, math.nan, math.nan, math.nan
    pl, bl, kl, rl, ph, bh, kh = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    m, h0, h1, h2, h3, h4, h5 = 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    q, k0, k1, k2, k3, k4, k5 = 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    v1, w1 = 0.0, 0.0
    for i in range(x.shape[1]):
        if reads[0, i] != last_read:
            last_read = reads[0, i]
            d = min(max(last_read, LEAST), most)
            m = int(d)
            h0, h1, h2, h3, h4, h5 = lagrange5(d - m)
        if low_cut_hz[i] != last_low:
            last_low = low_cut_hz[i]
            pl, bl, kl, rl = low_cut_weights(last_low, sample_rate_hz)
        if high_cut_hz[i] != last_high:
            last_high = high_cut_hz[i]
            ph, bh, kh = high_cut_weights(last_high, sample_rate_hz)
        v0 = read_between(line0, j - m, h0, h1, h2, h3, h4, h5)
        if pair:
            v1 = read_between(line1, j - m, h0, h1, h2, h3, h4, h5)
        share = reads[2, i]
        if share < 1.0:
            if reads[1, i] != last_left:
                last_left = reads[1, i]
                d = min(max(last_left, LEAST), most)
                q = int(d)
                k0, k1, k2, k3, k4, k5 = lagrange5(d - q)
            u = read_between(line0, j - q, k0, k1, k2, k3, k4, k5)
            v0 = u + share * (v0 - u)
            if pair:
                u = read_between(line1, j - q, k0, k1, k2, k3, k4, k5)
                v1 = u + share * (v1 - u)
        g = 0.01 * feedback_percent[i]
        w0, a0, b0 = echo_tick(v0, a0, b0, pl, bl, kl, rl, ph, bh, kh)
        fed0, fed1 = g * w0, 0.0
        if pair:
            w1, a1, b1 = echo_tick(v1, a1, b1, pl, bl, kl, rl, ph, bh, kh)
            fed1 = g * w1
        if max(abs(fed0), abs(fed1)) > 0.5:
            fed0, fed1 = soft_limit(fed0), soft_limit(fed1)
        if crossed == 1:
            fed0, fed1 = 0.5 * (x0[i] + x1[i]) + fed1, fed0
        else:
            fed0, fed1 = x0[i] + fed0, x1[i] + fed1
        write_sample(line0, j, fed0)
        y0[i] = dry[i] * x0[i] + wet[i] * w0
        if pair:
            write_sample(line1, j, fed1)
            y1[i] = dry[i] * x1[i] + wet[i] * w1
        j = (j + 1) & mask
    head[0] = j
    z[0, 0], z[0, 1] = a0, b0
    if pair:
        z[1, 0], z[1, 1] = a1, b1
