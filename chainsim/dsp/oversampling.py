"""A curve at 2, 4 or 8 times the sample rate, between linear-phase filters that leave the pass band as it is.

Every doubling has a half-band filter on the way up and another on the way down,

    H(f) = 1/2 + sum over k of g[k] cos(2 pi f (2 k + 1)),   |H(f)| + |H(1/2 - f)| = 1                         (1)

whose every second tap is nothing but the one in the middle, so that a filter works at the lower rate on half of the
samples while the other half passes. The last way down is a plain symmetric filter h, made flat together with what
the antialiasing of the curve (`waveshaping`) takes off the highs,

    R(f) = cos(pi f) of first, (2 + cos(2 pi f)) / 3 of second order,   sum of h(k) cos(2 pi f k) R(f) = 1     (2)

and whose length, even or odd, makes a whole number of samples of that order's delay. All g and h solve (1) and (2) in
least squares over the pass band, h also over the band that folds onto it; the grid is as dense towards its edge as
the ripples are, which comes within 3 dB of equal ripple. So what goes through in a straight line comes out as it went
in, later by a whole number of samples of the outer rate: it can be mixed with the dry sound.

References
----------
.. [1] R. E. Crochiere, L. R. Rabiner, Multirate Digital Signal Processing, 1983: half-band filters, polyphase.
"""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

import numpy as np

from chainsim.dsp.waveshaping import STATES, bend
from chainsim.kernel import kernel
from chainsim.units import Array, Audio, Counts

PASS_SHARE = 0.2154
"""End of the first pass band as a share of the doubled rate: 19 kHz at 44.1 kHz, 20.7 kHz at 48 kHz."""

PAIRS = (24, 6, 4)
"""Terms of (1) from 44.1 or 48 kHz to the double, from there to the next, and from there: 105, 121, 134 dB deep."""

LAST_TAPS = (0, 24, 16)
"""Length of h at the same places, an odd one being one shorter; none at the first, for twice alone is never enough."""

CLASS_HZ = 44_100.0
BLOCK = 64
"""Frames worked on at once, so that all lines stay in the nearest memory; it cannot be heard."""


class Stages(NamedTuple):
    """Filters and lines for `bend_oversampled`.

    Attributes
    ----------
    g : ndarray, shape (doublings, most pairs)
    pairs : ndarray of int64, shape (doublings,)
        How many of g count.
    odd : ndarray of int64, shape (doublings,)
        1 where the way down is centred on the earlier sample of a pair.
    h : ndarray, shape (2, half of the taps)
        Of equation (2), oldest first, for the earlier and the later samples of the pairs.
    lines : ndarray, shape (channels, 3, doublings, longest)
        What the filters remember, and room for a block: up; down, earlier; down, later.
    wide : ndarray, shape (2, BLOCK << doublings)
        Room for a block.
    z : ndarray, shape (channels, STATES)
        State of the curve.
    """

    g: Array
    pairs: Counts
    odd: Counts
    h: Array
    lines: Array
    wide: Array
    z: Array

    def reset(self) -> None:
        """Restore the state to that of silence."""
        for state in (self.lines, self.wide, self.z):
            state.fill(0.0)


def doublings(times: int, sample_rate_hz: float) -> list[int]:
    """Which filters, as indices into `PAIRS`, reach `times` the rate at 44.1 and 48 kHz; fewer at higher rates."""
    above = max(0, math.floor(math.log2(sample_rate_hz / CLASS_HZ) + 1e-9))
    top = times.bit_length() - 1
    first = min(above, len(PAIRS) - 1)
    return list(range(first, max(top, first + 1)))


def make_stages(times: int, order: int, channels: int, sample_rate_hz: float) -> tuple[Stages, int]:
    """Design for a curve of antialiasing `order` at `times` (4 or 8) the sample rate.

    Returns
    -------
    stages : Stages
    delay : int
        Samples of the outer rate by which all that is passed on is later.
    """
    places = doublings(times, sample_rate_hz)
    g = np.zeros((len(places), max(PAIRS)))
    odd = np.zeros(len(places), np.int64)
    h = last_filter(places[-1], order)
    delay = PAIRS[places[-1]] + h.shape[1] // 2 - 1
    for k, place in enumerate(places):
        g[k, : PAIRS[place]] = half_band_terms(place)
    for k in range(len(places) - 2, -1, -1):
        odd[k] = 1 - delay % 2
        delay = (4 * PAIRS[places[k]] - 2 + delay) // 2
    pairs = np.array([PAIRS[p] for p in places], np.int64)
    longest = 2 * max(PAIRS) + (BLOCK << (len(places) - 1))
    lines = np.zeros((channels, 3, len(places), longest))
    wide = np.zeros((2, BLOCK << len(places)))
    return Stages(g, pairs, odd, h, lines, wide, np.zeros((channels, STATES))), delay


@functools.cache
def half_band_terms(place: int) -> Array:
    """The g of equation (1), flat over the pass band and so deep over its mirror image."""
    f = _pass_band(place, 16 * PAIRS[place])
    basis = np.cos(2.0 * np.pi * np.outer(f, 2 * np.arange(PAIRS[place]) + 1))
    found: Array = np.linalg.lstsq(basis, np.full(f.size, 0.5))[0]
    return found


@functools.cache
def last_filter(place: int, order: int) -> Array:
    """The h of equation (2), shape (2, taps / 2)."""
    taps = LAST_TAPS[place] + 1 - order
    passed = _pass_band(place, 8 * taps)
    f = np.concatenate([passed, 0.5 - passed])
    flat = np.cos(np.pi * f) if order == 1 else (2.0 + np.cos(2.0 * np.pi * f)) / 3.0
    half = (taps + 1) // 2
    from_middle = np.arange(half) + 0.5 * (1 - taps % 2)
    basis = np.cos(2.0 * np.pi * np.outer(f, from_middle)) * flat[:, None]
    aim = np.where(f < 0.25, 1.0, 0.0)
    side = np.linalg.lstsq(basis, aim)[0]
    side[from_middle > 0.0] *= 0.5
    h = np.zeros(LAST_TAPS[place])
    h[LAST_TAPS[place] - taps :] = np.concatenate([side[::-1], side[taps % 2 :]])
    return np.ascontiguousarray(h.reshape(-1, 2).T)


def _pass_band(place: int, points: int) -> Array:
    """Frequencies from 0 to the end of the pass band, as dense there as the extremes of a Chebyshev polynomial."""
    found: Array = PASS_SHARE / 2.0**place * np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, points))
    return found


@kernel
def fold_pairs(line: Array, g: Array, pairs: int, frames: int, y: Array) -> None:
    """y[i] = sum over k of g[k] (line[i + pairs - 1 - k] + line[i + pairs + k])."""
    before, after, first = line[pairs - 1 :], line[pairs:], g[0]
    for i in range(frames):
        y[i] = first * (before[i] + after[i])
    for k in range(1, pairs):
        before, after, share = line[pairs - 1 - k :], line[pairs + k :], g[k]
        for i in range(frames):
            y[i] += share * (before[i] + after[i])


@kernel
def keep_last(line: Array, kept: int, frames: int) -> None:
    """Move the newest `kept` samples of a line to its beginning."""
    for i in range(kept):
        line[i] = line[frames + i]


@kernel
def widen(line: Array, g: Array, pairs: int, frames: int, room: Array, y: Array) -> None:
    """Fill y (2 frames) with a line at twice its rate: the line holds 2 pairs - 1 samples from before."""
    fold_pairs(line, g, pairs, frames, room)
    passed = line[pairs:]
    for i in range(frames):
        y[2 * i] = room[i]
        y[2 * i + 1] = passed[i]
    keep_last(line, 2 * pairs - 1, frames)


@kernel
def part(x: Array, kept: int, frames: int, earlier: Array, later: Array) -> None:
    """Put the samples of x (2 frames), by turns, behind the `kept` ones of two lines."""
    to_earlier, to_later = earlier[kept:], later[kept:]
    for i in range(frames):
        to_earlier[i] = x[2 * i]
        to_later[i] = x[2 * i + 1]


@kernel
def narrow(x: Array, g: Array, pairs: int, odd: int, frames: int, earlier: Array, later: Array, y: Array) -> None:
    """Fill y (frames,) with x (2 frames) at half its rate, by equation (1)."""
    kept = 2 * pairs - 1
    part(x, kept, frames, earlier, later)
    if odd == 1:
        fold_pairs(earlier, g, pairs, frames, y)
        passed = later[pairs - 1 :]
    else:
        fold_pairs(later, g, pairs, frames, y)
        passed = earlier[pairs:]
    for i in range(frames):
        y[i] = 0.5 * (y[i] + passed[i])
    keep_last(earlier, kept, frames)
    keep_last(later, kept, frames)


@kernel
def narrow_last(x: Array, h: Array, frames: int, earlier: Array, later: Array, y: Array) -> None:
    """Fill y (frames,) with x (2 frames) at half its rate, by equation (2)."""
    taps = h.shape[1]
    part(x, taps - 1, frames, earlier, later)
    for i in range(frames):
        y[i] = h[0, 0] * earlier[i] + h[1, 0] * later[i]
    for k in range(1, taps):
        first, second, share, other = earlier[k:], later[k:], h[0, k], h[1, k]
        for i in range(frames):
            y[i] += share * first[i] + other * second[i]
    keep_last(earlier, taps - 1, frames)
    keep_last(later, taps - 1, frames)


@kernel
def bend_oversampled(shape: int, bias: float, s: Stages, y: Audio) -> None:
    """Send y (channels, frames) in place through a curve at a multiple of its rate.

    Parameters
    ----------
    shape : int
        Index into `waveshaping.SHAPES`; of the order the stages were made for.
    bias : float
        Of the asymmetric curve; else 0.
    s : Stages
        Of `make_stages`.
    y : ndarray, shape (channels, frames)
    """
    count = s.pairs.shape[0]
    wide, room = s.wide[0], s.wide[1]
    for c in range(y.shape[0]):
        up, earlier, later = s.lines[c, 0], s.lines[c, 1], s.lines[c, 2]
        for start in range(0, y.shape[1], BLOCK):
            frames = min(BLOCK, y.shape[1] - start)
            block = y[c, start:]
            first = up[0, 2 * s.pairs[0] - 1 :]
            for i in range(frames):
                first[i] = block[i]
            for k in range(count - 1):
                widen(up[k], s.g[k], s.pairs[k], frames << k, room, up[k + 1, 2 * s.pairs[k + 1] - 1 :])
            last = count - 1
            widen(up[last], s.g[last], s.pairs[last], frames << last, room, wide)
            bend(shape, bias, s.z[c], wide, frames << count)
            narrow_last(wide, s.h, frames << last, earlier[last], later[last], room)
            for k in range(count - 2, -1, -1):
                narrow(room, s.g[k], s.pairs[k], s.odd[k], frames << k, earlier[k], later[k], wide)
                wide, room = room, wide
            for i in range(frames):
                block[i] = room[i]
            wide, room = s.wide[0], s.wide[1]
