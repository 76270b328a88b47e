"""Look-ahead limiter: y[n] = g[n] x[n - D], with no peak above the ceiling C, nor between the samples.

p[n] is a bound on the true peak around one sample (`chainsim.dsp.true_peak_bound`), known while that sample still waits
in the delay. The reduction in dB that it needs is held, let go and smoothed:

    r[n] = max(20 log10(p[n] / C), 0)                                                          (1)
    m[n] = largest of r over the look-ahead and the hold                                       (2)
    h[n] = max(m[n], a h[n-1]),  a = exp(-1 / (release fs))                                    (3)
    s[n] = mean of the means of h over two windows that together fill the look-ahead           (4)
    g[n] = 10^(-s[n] / 20)                                                                     (5)

When a peak leaves the delay, all that (4) takes the mean of is at least as large as its r: so the ceiling holds, and
the gain gets there by a curve with neither step nor corner. Where r has been 0 for long enough g is exactly 1, and the
sound passes bit by bit. Between the samples the ceiling is measured, not proven: music, noise, and what was made to get
over it stay within 0.02 dB.

Two channels are turned down together. `release_ms` is the time in which the reduction, in dB, does 1 - 1/e of its way
back, counted from the end of the hold.

References
----------
.. [1] P. Hamalainen, "Smoothing of the control signal without clipped output in digital peak limiters", DAFx-02,
   2002, 195-198: a running extreme, then a mean over the same time.
.. [2] D. Giannoulis, M. Massberg, J. D. Reiss, JAES 60(6), 2012, 399-408: why in dB.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp.peak_interpolation import SPAN
from chainsim.dsp.sliding import sliding_max, sliding_sum
from chainsim.dsp.true_peak_bound import BEHIND, EDGE_HOLD, bound_state, bound_taps, true_peak_bound
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed
from chainsim.units import NEPERS_PER_DB, Array, Audio, Counts, db_to_gain, ms_to_samples, one_pole_coefficient

LEAST_SMOOTHING = 16
"""Shortest time, in samples, in which the gain gets down: a longer look-ahead than asked for at very low rates."""
SNAP_DB = 1e-6
"""Reduction at which the gain has come back to 1."""


class LimiterSettings(Settings):
    ceiling_dbtp: float = fixed(-1.0, -40.0, 0.0, "dBTP", "highest true peak that comes out")
    look_ahead_ms: float = fixed(1.5, 1.0, 20.0, "ms", "delay of the sound, so that the gain is down before a peak")
    hold_ms: float = fixed(16.0, 0.0, 200.0, "ms", "how long a peak counts; a period of the lowest note keeps it clean")
    release_ms: float = fixed(100.0, 5.0, 5000.0, "ms", "time to 1 - 1/e of the way back, in dB, after the hold")


@kernel
def limit_gain(
    ceiling: float,
    release: float,
    held: Array,
    first: Array,
    second: Array,
    places: Counts,
    running: Array,
    z: Array,
    gain: Array,
) -> None:
    """Turn `gain` (frames,), at entry the bound p, into the gain of equations (1) to (5).

    held, first and second are rings of `chainsim.dsp.sliding`, places (3,) int64 and running (3,) the rest of their
    state; state z (1,) is h.
    """
    to_db = 1.0 / NEPERS_PER_DB
    for i in range(gain.shape[0]):
        gain[i] = to_db * math.log(gain[i] / ceiling) if gain[i] > ceiling else 0.0
    sliding_max(gain, held, places[0:1], running[0:1])
    falling = z[0]
    for i in range(gain.shape[0]):
        falling = max(gain[i], release * falling)
        if falling < SNAP_DB:
            falling = 0.0
        gain[i] = falling
    z[0] = falling
    sliding_sum(gain, first, places[1:2], running[1:2])
    sliding_sum(gain, second, places[2:3], running[2:3])
    to_nepers = -NEPERS_PER_DB / ((first.shape[0] - 1.0) * (second.shape[0] - 1.0))
    for i in range(gain.shape[0]):
        gain[i] = math.exp(to_nepers * gain[i]) if gain[i] > 0.0 else 1.0


@kernel
def scale_earlier(x: Audio, start: int, gain: Array, y: Audio) -> None:
    """Fill y (channels, frames) with the gain row times x (channels, at least start + frames) from `start` on."""
    for c in range(y.shape[0]):
        for i in range(y.shape[1]):
            y[c, i] = gain[i] * x[c, start + i]


@register("limiter")
class Limiter(Block[LimiterSettings]):
    """Lets no peak above its ceiling: a guard at the end of a chain, and for ears. Below it the sound is untouched."""

    readings = ("gain",)
    latency_probe = LatencyProbe({"ceiling_dbtp": 0.0})
    source = "P. Hamalainen, DAFx-02, 195-198; true peak as in ITU-R BS.1770-5, Annex 2"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, context.sample_rate_hz
        delay = max(round(ms_to_samples(chosen.look_ahead_ms, rate_hz)), BEHIND + LEAST_SMOOTHING)
        smoothing = delay - BEHIND
        hold = round(ms_to_samples(chosen.hold_ms, rate_hz))
        self._ceiling = db_to_gain(chosen.ceiling_dbtp)
        self._release = one_pole_coefficient(chosen.release_ms / 1000.0, rate_hz)
        # One frame's bound speaks of three samples, so it counts for two frames more than the smoothing takes.
        self._held = np.zeros(smoothing + 2 + hold + 1)
        self._first = np.zeros(smoothing // 2 + 1 + 1)
        self._second = np.zeros(smoothing - smoothing // 2 + 1)
        self._places, self._running, self._z = np.zeros(3, np.int64), np.zeros(3), np.zeros(1)
        self._taps = bound_taps()
        self._z_bound, self._counts, self._scratch = bound_state(context.out_channels)
        self._ahead = max(delay, SPAN - 1)
        self._before = np.zeros((context.out_channels, self._ahead))
        self._start = self._ahead - delay
        self.latency_samples = float(delay)

    def reset(self) -> None:
        for state in (self._held, self._first, self._second, self._places, self._running, self._z):
            state.fill(0)
        for state in (self._z_bound, self._counts, self._before):
            state.fill(0)

    def process(self, io: Io) -> None:
        gain = io.readings[0]
        x = np.concatenate([self._before, io.x], axis=1)
        true_peak_bound(x, self._ahead, self._taps, EDGE_HOLD, self._z_bound, self._counts, self._scratch, gain)
        limit_gain(
            self._ceiling, self._release, self._held, self._first, self._second, self._places, self._running,
            self._z, gain,
        )  # fmt: skip
        scale_earlier(x, self._start, gain, io.y)
        self._before[:] = x[:, io.frames :]
