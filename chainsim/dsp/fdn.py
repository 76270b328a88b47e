"""Feedback delay network of 16 lines with a slowly turning, always orthogonal mixing matrix.

    v(n) = A(n) (G(z) q(n) + u(n)),  q_k(n) = v_k(n - m_k)                                                      (1)

q holds what comes out of the lines, u what is fed in, G the absorption filters (dsp/absorption.py). A(n) = H R(n):
H is the Hadamard matrix of order 16 over 4 and R(n) turns eight pairs of lines, each at a slow rate of its own. Every
A(n) is orthogonal, so with G = 1 the energy in the lines stays what it is, however R turns; and with G decaying as
m_k asks, every path loses the same per second. A turning matrix moves no delay, so nothing is interpolated in the
loop: no treble is lost and no note is bent; it spreads each resonance by a fraction of a Hz, which keeps single ones
from ringing out.

Line k = 4 r + c stands at row r, column c of a 4 by 4 square: H is a Hadamard matrix of order 4 over the rows, then
one over the columns. Between the two stages the outputs are read, as sums over a permuted diagonal of the square:

    left = sum_c p[c, c],  right = sum_c p[pi(c), c],  pi swapping 0 with 1 and 2 with 3                           (2)

Both are sums of all 16 lines with signs that are orthogonal to each other and have a flat Walsh spectrum (bent
sequences), so that neither holds more of any one line's input than of another's.

Sources: J.-M. Jot and A. Chaigne, AES 90th convention, 1991 (network and absorption); S. J. Schlecht and E. A. P.
Habets, "Time-varying feedback matrices in feedback delay networks and their application in artificial reverberation",
J. Acoust. Soc. Am. 138, 2015 (turning matrix).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.dsp.absorption import COEFFICIENTS, SECTIONS
from chainsim.dsp.envelope import FLUSH
from chainsim.kernel import kernel
from chainsim.units import Array

LINES = 16
PAIRS = 8
SPAN = 32
"""Frames worked on at once, never across a multiple of it: the shortest line is at least as long."""

Indices = npt.NDArray[np.int64]


def aligned_zeros(size: int) -> Array:
    """Zeros that begin at a multiple of 64 bytes, so that no vector load crosses a cache line (a third faster here)."""
    room = np.zeros(size + 8)
    start = -room.ctypes.data // 8 % 8
    return room[start : start + size]


class Tank:
    """Everything one network holds.

    Parameters
    ----------
    lengths : ndarray of int64, shape (16,), each >= 32
        Lengths of the lines in samples.
    turn_hz : ndarray, shape (8,)
        How often each pair of lines turns in a second; negative turns backwards.
    sample_rate_hz : float

    Attributes
    ----------
    filters : ndarray, shape (19 * 16,)
        Absorption filters (13 rows over the lines, as `design_absorption` fills them; see `coefficients`), then
        their states (6 rows).
    turns : ndarray, shape (8, 2)
        Cosine and sine of each pair's angle at the start of the span.
    waves : ndarray, shape (8, 2, 33)
        Cosine and sine of how far each pair turns in 0 ... 32 samples.
    rings, starts, heads
        The lines one after another, where each starts, and where each is read and written next.
    """

    def __init__(self, lengths: Indices, turn_hz: Array, sample_rate_hz: float) -> None:
        self.lengths = lengths
        self.starts = np.concatenate([[0], np.cumsum(lengths + 8)[:-1]]).astype(np.int64)
        self.heads = np.zeros(LINES, np.int64)
        self.rings = np.zeros(int(np.sum(lengths + 8)))
        self.filters = aligned_zeros((COEFFICIENTS + 2 * SECTIONS) * LINES)
        self.turns = np.zeros((PAIRS, 2))
        angles = 2.0 * math.pi * np.outer(turn_hz / sample_rate_hz, np.arange(SPAN + 1))
        self.waves = np.ascontiguousarray(np.stack([np.cos(angles), np.sin(angles)], axis=1))
        self.reset()

    @property
    def coefficients(self) -> Array:
        """The absorption filters, shape (13, 16): a view."""
        return self.filters[: COEFFICIENTS * LINES].reshape(COEFFICIENTS, LINES)

    def reset(self) -> None:
        """Empty the lines and turn the pairs to where they start; the absorption filters stay."""
        self.heads.fill(0)
        self.rings.fill(0.0)
        self.filters[COEFFICIENTS * LINES :] = 0.0
        start = 2.0 * math.pi * 0.618034 * np.arange(PAIRS)
        self.turns[:] = np.stack([np.cos(start), np.sin(start)], axis=1)


@kernel
def read_lines(rings: Array, starts: Indices, heads: Indices, lengths: Indices, frames: int, v: Array) -> None:
    """Fill v (32, 16) with the next `frames` samples to come out of each line."""
    for k in range(16):
        first = min(frames, lengths[k] - heads[k])
        at = np.uint64(starts[k] + heads[k])
        for i in range(first):
            v[i, k] = rings[at + np.uint64(i)]
        at = np.uint64(starts[k])
        for i in range(first, frames):
            v[i, k] = rings[at + np.uint64(i - first)]


@kernel
def absorb_lines(filters: Array, frames: int, v: Array) -> None:
    """Send v (32, 16) through the absorption filters, in place.

    The inner loop goes over the lines, so that it compiles to vector code. Filters and states lie in one array at
    fixed places, which lets the compiler see that nothing overlaps.
    """
    for i in range(frames):
        for k in range(16):
            x = v[i, k]
            x = 0.0 if abs(x) < FLUSH else x
            y = x + filters[208 + k]
            filters[208 + k] = (filters[k] * x + filters[224 + k]) - filters[32 + k] * y
            filters[224 + k] = filters[16 + k] * x - filters[48 + k] * y
            x = y + filters[240 + k]
            filters[240 + k] = (filters[64 + k] * y + filters[256 + k]) - filters[96 + k] * x
            filters[256 + k] = filters[80 + k] * y - filters[112 + k] * x
            y = x + filters[272 + k]
            filters[272 + k] = (filters[128 + k] * x + filters[288 + k]) - filters[160 + k] * y
            filters[288 + k] = filters[144 + k] * x - filters[176 + k] * y
            v[i, k] = filters[192 + k] * y


@kernel
def flip_to_rows(v: Array, frames: int, q: Array) -> None:
    """Fill q (18 * 32, line by line) from v (32, 16)."""
    for i in range(frames):
        for k in range(16):
            q[32 * k + i] = v[i, k]


@kernel
def turn_pairs(turns: Array, waves: Array, offset: int, frames: int, q: Array) -> None:
    """R(n) of equation (1) on q (18 * 32), `offset` samples after the start of the span."""
    for j in range(8):
        cos, sin = turns[j, 0], turns[j, 1]
        low, high, at = np.uint64(32 * j), np.uint64(32 * j + 256), np.uint64(offset)
        for i in range(frames):
            k = np.uint64(i)
            c = cos * waves[j, 0, at + k] - sin * waves[j, 1, at + k]
            s = sin * waves[j, 0, at + k] + cos * waves[j, 1, at + k]
            a, b = q[low + k], q[high + k]
            q[low + k] = c * a - s * b
            q[high + k] = s * a + c * b


@kernel
def mix_lines(frames: int, q: Array) -> None:
    """4 H of equation (1) on q, in place; rows 16 and 17 of q (18 * 32) get left and right of equation (2)."""
    for i in range(frames):
        a0, a1, a2, a3 = q[i], q[32 + i], q[64 + i], q[96 + i]
        b0, b1, b2, b3 = q[128 + i], q[160 + i], q[192 + i], q[224 + i]
        c0, c1, c2, c3 = q[256 + i], q[288 + i], q[320 + i], q[352 + i]
        d0, d1, d2, d3 = q[384 + i], q[416 + i], q[448 + i], q[480 + i]

        a0, b0, c0, d0 = a0 + b0, a0 - b0, c0 + d0, c0 - d0
        a1, b1, c1, d1 = a1 + b1, a1 - b1, c1 + d1, c1 - d1
        a2, b2, c2, d2 = a2 + b2, a2 - b2, c2 + d2, c2 - d2
        a3, b3, c3, d3 = a3 + b3, a3 - b3, c3 + d3, c3 - d3
        a0, b0, c0, d0 = a0 + c0, b0 + d0, a0 - c0, b0 - d0
        a1, b1, c1, d1 = a1 + c1, b1 + d1, a1 - c1, b1 - d1
        a2, b2, c2, d2 = a2 + c2, b2 + d2, a2 - c2, b2 - d2
        a3, b3, c3, d3 = a3 + c3, b3 + d3, a3 - c3, b3 - d3

        q[512 + i] = (a0 + b1) + (c2 + d3)
        q[544 + i] = (b0 + a1) + (d2 + c3)

        a0, a1, a2, a3 = a0 + a1, a0 - a1, a2 + a3, a2 - a3
        b0, b1, b2, b3 = b0 + b1, b0 - b1, b2 + b3, b2 - b3
        c0, c1, c2, c3 = c0 + c1, c0 - c1, c2 + c3, c2 - c3
        d0, d1, d2, d3 = d0 + d1, d0 - d1, d2 + d3, d2 - d3
        q[i], q[32 + i], q[64 + i], q[96 + i] = a0 + a2, a1 + a3, a0 - a2, a1 - a3
        q[128 + i], q[160 + i], q[192 + i], q[224 + i] = b0 + b2, b1 + b3, b0 - b2, b1 - b3
        q[256 + i], q[288 + i], q[320 + i], q[352 + i] = c0 + c2, c1 + c3, c0 - c2, c1 - c3
        q[384 + i], q[416 + i], q[448 + i], q[480 + i] = d0 + d2, d1 + d3, d0 - d2, d1 - d3


@kernel
def write_lines(rings: Array, starts: Indices, heads: Indices, lengths: Indices, frames: int, q: Array) -> None:
    """Put q (18 * 32) where `read_lines` read, and move the heads on."""
    for k in range(16):
        first = min(frames, lengths[k] - heads[k])
        at, row = np.uint64(starts[k] + heads[k]), np.uint64(32 * k)
        for i in range(first):
            rings[at + np.uint64(i)] = q[row + np.uint64(i)]
        at = np.uint64(starts[k])
        for i in range(first, frames):
            rings[at + np.uint64(i - first)] = q[row + np.uint64(i)]
        head = heads[k] + frames
        heads[k] = head - lengths[k] if head >= lengths[k] else head


@kernel
def end_span(turns: Array, waves: Array, filters: Array) -> None:
    """At each multiple of 32 samples: turn on, at length 1, and set vanishing filter states to zero."""
    for j in range(8):
        cos = turns[j, 0] * waves[j, 0, 32] - turns[j, 1] * waves[j, 1, 32]
        sin = turns[j, 1] * waves[j, 0, 32] + turns[j, 0] * waves[j, 1, 32]
        stretch = 1.5 - 0.5 * (cos * cos + sin * sin)
        turns[j, 0], turns[j, 1] = cos * stretch, sin * stretch
    for k in range(208, 304):
        filters[k] = 0.0 if abs(filters[k]) < FLUSH else filters[k]
