"""The reverb's loop: input gain, low cut, diffusion, first reflections, feedback delay network, dry and wet.

With a_k = exp(l_k / decay_s) the gain of line k a pass, l_k its length in seconds times -ln 1000, the input gain is

    sqrt(1 - mean a_k^2)                                                                                         (1)

Each line of the network mixes all lines evenly, so that the power e in it obeys e = mean a_k^2 e + g^2 x^2 for noise
of power x^2, first reflections of mean power 1 and input gain g; with (1), e = x^2, and each output has that power too.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.dsp.absorption import design_absorption
from chainsim.dsp.diffusion import add_taps, diffuse_span, disperse_span, filter_span, store_span
from chainsim.dsp.fdn import (
    absorb_lines,
    end_span,
    flip_to_rows,
    mix_lines,
    read_lines,
    turn_pairs,
    write_lines,
)
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

SPRING_A = 0.75
"""Coefficient of the springs' allpasses."""

DIFFUSION = 0.6
"""Gain of the diffusers."""


@kernel
def plan_span(
    decay_s: float, design: Array, loss: Array, nepers: Array, low_ratio: float, high_ratio: float, coefficients: Array
) -> None:
    """Design for a new decay time.

    Parameters
    ----------
    decay_s : float
    design : ndarray, shape (6,)
        The decay time designed for (NaN: none yet); input gain at the start of the span, its step a sample, and where
        it is at the next span; low and high corner. All but the corners are filled.
    loss : ndarray, shape (16,)
        What each line loses a pass at a decay time of 1 s, in nepers (negative).
    nepers : ndarray, shape (16,)
        Work space.
    low_ratio, high_ratio : float
    coefficients : ndarray, shape (13, 16)
        Filled.
    """
    for k in range(loss.shape[0]):
        nepers[k] = loss[k] / decay_s
    design_absorption(nepers, low_ratio, high_ratio, design[4], design[5], 0.25, coefficients)
    kept = 0.0
    for k in range(loss.shape[0]):
        kept += math.exp(2.0 * nepers[k]) / loss.shape[0]
    design[3] = math.sqrt(1.0 - kept)  # (1)
    if math.isnan(design[0]):
        design[1] = design[3]
    design[2] = (design[3] - design[1]) / 32.0
    design[0] = decay_s


@kernel
def feed_span(
    x: Audio,
    i0: int,
    frames: int,
    offset: int,
    at: int,
    design: Array,
    cuts: Array,
    cut_z: Array,
    diffusers: npt.NDArray[np.int64],
    diffuser_heads: npt.NDArray[np.int64],
    diffuser_rings: Array,
    spring_head: npt.NDArray[np.int64],
    spring_ring: Array,
    spring_waiting: Array,
    spring_out: Array,
    s: Array,
    ring: Audio,
) -> None:
    """Input gain, low cut, diffusion, dispersion; into ring (channels, 2 size) at `at`."""
    for c in range(x.shape[0]):
        for i in range(frames):
            s[i] = (design[1] + design[2] * (offset + i)) * x[c, i0 + i]
        filter_span(cuts, cut_z[c], frames, s)
        diffuse_span(DIFFUSION, diffusers, diffuser_heads[c], diffuser_rings[c], frames, s)
        if spring_ring.shape[2] > 0:
            disperse_span(SPRING_A, spring_head[c], spring_ring[c], spring_waiting[c], spring_out, frames, s)
        store_span(s, frames, c, at, ring)


@kernel
def blend_span(x: Audio, i0: int, frames: int, q: Array, gd: Array, gw: Array, width: Array, y: Audio) -> None:
    """Dry and wet into y (2, frames); left and right are rows 16 and 17 of q (18 * 32)."""
    for c in range(2):
        source, sign = min(c, x.shape[0] - 1), 0.5 if c == 0 else -0.5
        for i in range(frames):
            n = i0 + i
            side = width[n] * (q[512 + i] - q[544 + i])
            y[c, n] = gd[n] * x[source, n] + gw[n] * (0.5 * (q[512 + i] + q[544 + i]) + sign * side)


@kernel
def fdn_reverb(
    n0: int,
    x: Audio,
    decay: Array,
    gd: Array,
    gw: Array,
    width: Array,
    y: Audio,
    design: Array,
    loss: Array,
    nepers: Array,
    low_ratio: float,
    high_ratio: float,
    cuts: Array,
    cut_z: Array,
    diffusers: npt.NDArray[np.int64],
    diffuser_heads: npt.NDArray[np.int64],
    diffuser_rings: Array,
    spring_head: npt.NDArray[np.int64],
    spring_ring: Array,
    spring_waiting: Array,
    spring_out: Array,
    s: Array,
    input_ring: Audio,
    taps: npt.NDArray[np.int64],
    sources: npt.NDArray[np.int64],
    tap_gains: Array,
    lengths: npt.NDArray[np.int64],
    starts: npt.NDArray[np.int64],
    heads: npt.NDArray[np.int64],
    rings: Array,
    filters: Array,
    coefficients: Array,
    turns: Array,
    waves: Array,
    v: Array,
    q: Array,
) -> None:
    """Fill y (2, frames) from x (1 or 2, frames) that starts at absolute frame n0; all else is state or design.

    The work is cut at absolute multiples of 32 samples, where a moved decay time is taken up.
    """
    frames = x.shape[1]
    size = input_ring.shape[1] // 2
    if frames == 0:
        return
    for span in range(n0 // 32, (n0 + frames + 31) // 32):
        start = max(32 * span, n0)
        offset, i0, run = start - 32 * span, start - n0, min(32 * span + 32, n0 + frames) - start
        if offset == 0:
            design[1], design[2] = design[3], 0.0
        if (offset == 0 or math.isnan(design[0])) and decay[i0] != design[0]:
            plan_span(decay[i0], design, loss, nepers, low_ratio, high_ratio, coefficients)
        at = start % size
        feed_span(
            x, i0, run, offset, at, design, cuts, cut_z, diffusers, diffuser_heads, diffuser_rings,
            spring_head, spring_ring, spring_waiting, spring_out, s, input_ring,
        )  # fmt: skip
        read_lines(rings, starts, heads, lengths, run, v)
        absorb_lines(filters, run, v)
        flip_to_rows(v, run, q)
        turn_pairs(turns, waves, offset, run, q)
        add_taps(input_ring, at, taps, sources, tap_gains, run, q)
        mix_lines(run, q)
        write_lines(rings, starts, heads, lengths, run, q)
        blend_span(x, i0, run, q, gd, gw, width, y)
        if offset + run == 32:
            end_span(turns, waves, filters)
