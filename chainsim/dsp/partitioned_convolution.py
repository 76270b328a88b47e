"""Convolution with long responses, without latency: a short head sample by sample, the rest in ever longer partitions.

    y[n] = sum over k of h[k] x[n - k]                                                                           (1)

Taps 0 ... 127 are summed as (1) stands. Taps N ... 8N - 1 are cut into partitions of N for N = 128 and N = 1024, all
that follow into partitions of N = 8192 [1]_. At every multiple of N on the absolute sample counter the last 2N samples
are transformed once; what N samples of output owe to all partitions of that length is one sum of products of spectra,

    Y[j] = sum over p of X[j - p] H[p],   p = 0, 1, ...                                                          (2)

of whose inverse transform the last N samples hold (overlap-save). X[j] ends where the output begins, since the first
partition of each length is delayed by that length: so nothing is late, and nothing is heard before it came in.

References
----------
.. [1] W. G. Gardner, "Efficient Convolution without Input-Output Delay", JAES 43(3), 1995, 127-136.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from chainsim.dsp.envelope import FLUSH
from chainsim.dsp.real_fft import fft_work, inverse_real_fft, real_fft, twiddles
from chainsim.kernel import kernel
from chainsim.units import Array, Audio, Counts

HEAD = 128
"""Taps that are summed one by one: as many as the shortest partition is long."""

SIZES = (128, 1024, 8192)
"""Lengths N of partitions; each begins at tap N, where the one before ends."""

PIECE = 1024
"""Samples that the head works on at once."""


class Path(NamedTuple):
    """From which input to which output, through which response."""

    source: int
    target: int
    response: int


class Stage(NamedTuple):
    """All partitions of one length, and their state.

    Attributes
    ----------
    size, first : int
        N, and the first partition that is not all zeros.
    paths : ndarray of int64, shape (paths, 3)
    h_re, h_im : ndarray, shape (responses, partitions, N + 1)
        Spectra of the partitions, times 1 / N.
    x_re, x_im : ndarray, shape (inputs, partitions, N + 1)
        State: spectra of the input, the newest at `newest`, the one before in the place before it.
    newest : ndarray of int64, shape (1,)
    line : ndarray, shape (inputs, 2 N)
        State: the last whole block of input, and the one that is coming in.
    pending : ndarray, shape (outputs, N)
        State: what the present block of output owes to the partitions.
    sum_re, sum_im, frame, table, work : ndarray
        What the sums and transforms work in.
    """

    size: int
    first: int
    paths: Counts
    h_re: Array
    h_im: Array
    x_re: Array
    x_im: Array
    newest: Counts
    line: Array
    pending: Array
    sum_re: Array
    sum_im: Array
    frame: Array
    table: Array
    work: Array


@kernel
def convolve_head(x: Audio, taps: Array, paths: Counts, line: Array, w: Audio) -> None:
    """Add to w (outputs, frames) what x (inputs, frames) gives through the first taps of equation (1).

    Parameters
    ----------
    taps : ndarray, shape (responses, HEAD)
    paths : ndarray of int64, shape (paths, 3)
    line : ndarray, shape (inputs, HEAD + PIECE)
        State: it begins with the last HEAD samples; zero at the start.
    """
    begin = 0
    while begin < x.shape[1]:
        n = min(PIECE, x.shape[1] - begin)
        for c in range(x.shape[0]):
            for i in range(n):
                line[c, HEAD + i] = x[c, begin + i] if abs(x[c, begin + i]) >= FLUSH else 0.0
        for path in range(paths.shape[0]):
            source, h = line[paths[path, 0]], taps[paths[path, 2]]
            y = w[paths[path, 1], begin : begin + n]
            for k in range(0, HEAD, 4):
                a, b, c, d = h[k], h[k + 1], h[k + 2], h[k + 3]
                xa, xb = source[HEAD - k : HEAD - k + n], source[HEAD - k - 1 : HEAD - k - 1 + n]
                xc, xd = source[HEAD - k - 2 : HEAD - k - 2 + n], source[HEAD - k - 3 : HEAD - k - 3 + n]
                for i in range(n):
                    y[i] = (((y[i] + a * xa[i]) + b * xb[i]) + c * xc[i]) + d * xd[i]
        for c in range(x.shape[0]):
            for i in range(HEAD):
                line[c, i] = line[c, n + i]
        begin += n


@kernel
def convolve_stage(n0: int, x: Audio, stage: Stage, w: Audio) -> None:
    """Add to w (outputs, frames) what x (inputs, frames), from absolute sample n0 on, gives through one stage."""
    size = stage.size
    i = 0
    while i < x.shape[1]:
        at = (n0 + i) % size
        if at == 0:
            _next_block(stage)
        n = min(size - at, x.shape[1] - i)
        for c in range(x.shape[0]):
            for k in range(n):
                value = x[c, i + k]
                stage.line[c, size + at + k] = value if abs(value) >= FLUSH else 0.0
        for o in range(w.shape[0]):
            y, owed = w[o, i : i + n], stage.pending[o, at : at + n]
            for k in range(n):
                y[k] += owed[k]
        i += n


@kernel
def _next_block(stage: Stage) -> None:
    """Take in the block that is whole, and fill `pending` with the next one: equation (2)."""
    size, count = stage.size, stage.h_re.shape[1]
    newest = (stage.newest[0] + 1) % count
    stage.newest[0] = newest
    for c in range(stage.line.shape[0]):
        line = stage.line[c]
        real_fft(line, 2 * size, stage.table, stage.work, stage.x_re[c, newest], stage.x_im[c, newest])
        line[:size] = line[size:]
    for o in range(stage.pending.shape[0]):
        stage.sum_re[:] = 0.0
        stage.sum_im[:] = 0.0
        for path in range(stage.paths.shape[0]):
            if stage.paths[path, 1] != o:
                continue
            c, r = stage.paths[path, 0], stage.paths[path, 2]
            for p in range(stage.first, count):
                k = newest - p
                k = k + count if k < 0 else k
                _add_product(stage.x_re[c, k], stage.x_im[c, k], stage.h_re[r, p], stage.h_im[r, p], stage)
        inverse_real_fft(stage.sum_re, stage.sum_im, 2 * size, stage.table, stage.work, stage.frame)
        stage.pending[o] = stage.frame[size:]


@kernel
def _add_product(xr: Array, xi: Array, hr: Array, hi: Array, stage: Stage) -> None:
    """Add the product of two spectra to the stage's sum."""
    yr, yi = stage.sum_re, stage.sum_im
    for k in range(yr.shape[0]):
        yr[k] += xr[k] * hr[k] - xi[k] * hi[k]
        yi[k] += xr[k] * hi[k] + xi[k] * hr[k]


class PartitionedConvolution:
    """Equation (1) for several responses between several inputs and outputs.

    Parameters
    ----------
    responses : ndarray, shape (responses, taps)
        h, of one length; shorter ones end in zeros.
    paths : sequence of Path
        Each output is the sum of what its paths give, in this order.
    inputs, outputs : int
    """

    def __init__(self, responses: Array, paths: Sequence[Path], inputs: int, outputs: int) -> None:
        self._paths = np.array(paths, dtype=np.int64)
        self._head = np.zeros((len(responses), HEAD))
        self._head[:, : responses.shape[1]] = responses[:, :HEAD]
        self._line = np.zeros((inputs, HEAD + PIECE))
        ends = (*SIZES[1:], max(responses.shape[1], SIZES[-1]))
        taps = [responses[:, size:end] for size, end in zip(SIZES, ends, strict=True)]
        self._stages = [
            _stage(part, size, self._paths, inputs, outputs)
            for part, size in zip(taps, SIZES, strict=True)
            if part.any()
        ]
        self.reset()

    def reset(self) -> None:
        """Forget all that came in."""
        self._line.fill(0.0)
        for stage in self._stages:
            for state in (stage.x_re, stage.x_im, stage.line, stage.pending):
                state.fill(0.0)
            stage.newest.fill(0)

    def add_to(self, n0: int, x: Audio, w: Audio) -> None:
        """Add to w (outputs, frames) what x (inputs, frames) gives; n0 is the absolute index of its first sample."""
        convolve_head(x, self._head, self._paths, self._line, w)
        for stage in self._stages:
            convolve_stage(n0, x, stage, w)


def _stage(taps: Array, size: int, paths: Counts, inputs: int, outputs: int) -> Stage:
    count = -(-int(np.flatnonzero(taps.any(axis=0))[-1] + 1) // size)
    padded = np.zeros((len(taps), count * size))
    padded[:, : min(taps.shape[1], padded.shape[1])] = taps[:, : padded.shape[1]]
    parts = padded.reshape(len(taps), count, size)
    spectra = np.fft.rfft(parts, 2 * size) / size
    return Stage(
        size,
        int(np.argmax(parts.any(axis=(0, 2)))),
        paths,
        np.ascontiguousarray(spectra.real),
        np.ascontiguousarray(spectra.imag),
        np.zeros((inputs, count, size + 1)),
        np.zeros((inputs, count, size + 1)),
        np.zeros(1, np.int64),
        np.zeros((inputs, 2 * size)),
        np.zeros((outputs, size)),
        np.zeros(size + 1),
        np.zeros(size + 1),
        np.zeros(2 * size),
        twiddles(2 * size),
        fft_work(2 * size),
    )
