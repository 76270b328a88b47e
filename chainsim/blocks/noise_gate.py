"""Noise gate: y[n] = g[n] x[n - D], g between the floor F and 1.

The detector's low cut and running peak give an envelope e. The gate opens when e reaches the threshold T, and
starts to close when e has stayed below T - H (H: hysteresis) for the hold time. The opening p then moves smoothly,

    q[n] = t + a (q[n-1] - t),  p[n] = q[n] + a (p[n-1] - q[n]),  t = 1 when open, else 0     (1)
    g[n] = F + (1 - F) p[n]                                                                  (2)

so the gain has neither step nor corner. Attack and release are the times in which the gain, as a factor, does 1 - 1/e
of its way; a fall towards "off" is nearly a straight line in dB. Open, the gain is exactly 1: the sound passes bit by
bit.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp.envelope import low_cut_coefficient, low_cut_level, running_peak, two_pole_coefficient
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed, level, movable
from chainsim.units import Array, Audio, db_to_gain, ms_to_samples

WINDOW_MS = 15.0
"""One period of 67 Hz: the crests of a low note count as one steady level. Longer would lag on a slow fade."""
SNAP = 1e-6
"""Distance from open or shut, -120 dB, at which the gain arrives."""


class NoiseGateSettings(Settings):
    threshold_db: float = movable(-50.0, -96.0, 0.0, "dB", "peak level at which the gate opens", ramp_ms=20.0)
    hysteresis_db: float = fixed(6.0, 0.0, 40.0, "dB", "how far below the threshold the level must fall to close it")
    attack_ms: float = fixed(2.0, 0.1, 200.0, "ms", "time to 1 - 1/e of the opening")
    hold_ms: float = fixed(50.0, 0.0, 2000.0, "ms", "how long the level must stay low before the gate closes")
    release_ms: float = fixed(80.0, 1.0, 5000.0, "ms", "time to 1 - 1/e of the closing")
    floor_db: float = level(-60.0, -96.0, 0.0, "gain of the closed gate", ramp_ms=20.0)
    detector_low_cut_hz: float = fixed(80.0, 10.0, 2000.0, "Hz", "below this the detector hears less: hum, thumps")
    look_ahead_ms: float = fixed(0.0, 0.0, 20.0, "ms", "delay of the sound, so that the gate opens before a note")


@kernel
def gate_gain(
    threshold_db: Array,
    floor: Array,
    ratio: float,
    window: int,
    attack: float,
    release: float,
    hold: int,
    z: Array,
    counts: Array,
    gain: Array,
) -> None:
    """Turn `gain` (frames,), at entry the rectified level, into the gain of equations (1) and (2).

    State: z (4,) = e and the running peak's second, q, p; counts (4,) int64 = what is left of the two peaks and of the
    hold, open or not.
    """
    peak, second, q, p = z[0], z[1], z[2], z[3]
    peak_left, second_left, left, is_open = counts[0], counts[1], counts[2], counts[3]
    last, open_at, close_at = math.nan, 0.0, 0.0
    for i in range(gain.shape[0]):
        if threshold_db[i] != last:
            last = threshold_db[i]
            open_at = 10.0 ** (last / 20.0)
            close_at = ratio * open_at
        peak, peak_left, second, second_left = running_peak(gain[i], peak, peak_left, second, second_left, window)
        if is_open == 0:
            if peak >= open_at:
                is_open, left = 1, hold
        elif peak >= close_at:
            left = hold
        elif left > 0:
            left -= 1
        else:
            is_open = 0
        if is_open == 1:
            if p == 1.0:
                gain[i] = 1.0
                continue
            q = 1.0 + attack * (q - 1.0)
            p = q + attack * (p - q)
            if p > 1.0 - SNAP:
                q, p = 1.0, 1.0
        else:
            if p == 0.0:
                gain[i] = floor[i]
                continue
            q = release * q
            p = q + release * (p - q)
            if p < SNAP:
                q, p = 0.0, 0.0
        gain[i] = 1.0 if p == 1.0 else floor[i] + (1.0 - floor[i]) * p
    z[0], z[1], z[2], z[3] = peak, second, q, p
    counts[0], counts[1], counts[2], counts[3] = peak_left, second_left, left, is_open


@kernel
def scale_delayed(x: Audio, gain: Array, ring: Audio, head: Array, y: Audio) -> None:
    """Fill y (channels, frames) with gain[n] x[n - D]; ring (channels, D) and head (1,) int64 are the delay's state."""
    delay = ring.shape[1]
    j = head[0]
    for c in range(x.shape[0]):
        if delay == 0:
            for i in range(x.shape[1]):
                y[c, i] = gain[i] * x[c, i]
        else:
            j = head[0]
            for i in range(x.shape[1]):
                y[c, i] = gain[i] * ring[c, j]
                ring[c, j] = x[c, i]
                j = j + 1 if j + 1 < delay else 0
    head[0] = j


@register("noise_gate")
class NoiseGate(Block[NoiseGateSettings]):
    """Turns the sound down while nobody plays: breath, key noise and hiss between the notes."""

    has_detector = True
    readings = ("gain",)
    latency_probe = LatencyProbe({"floor_db": 0.0, "look_ahead_ms": 2.0})
    source = "peak detector: D. Giannoulis, M. Massberg, J. D. Reiss, JAES 60(6), 2012, 399-408; hysteresis: definition"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, context.sample_rate_hz
        self._ratio = db_to_gain(-chosen.hysteresis_db)
        self._cut = low_cut_coefficient(min(chosen.detector_low_cut_hz, 0.45 * rate_hz), rate_hz)
        self._window = round(ms_to_samples(WINDOW_MS, rate_hz))
        self._attack = two_pole_coefficient(chosen.attack_ms, rate_hz)
        self._release = two_pole_coefficient(chosen.release_ms, rate_hz)
        self._hold = round(ms_to_samples(chosen.hold_ms, rate_hz))
        delay = round(ms_to_samples(chosen.look_ahead_ms, rate_hz))
        self._ring = np.zeros((context.out_channels, delay))
        self._head = np.zeros(1, np.int64)
        self._z_cut = np.zeros((context.channels["detector"], 2))
        self._z = np.zeros(4)
        self._counts = np.zeros(4, np.int64)
        self.latency_samples = float(delay)

    def reset(self) -> None:
        for state in (self._ring, self._head, self._z_cut, self._z, self._counts):
            state.fill(0)

    def process(self, io: Io) -> None:
        gain = io.readings[0]
        low_cut_level(io.detector, self._cut, self._z_cut, gain)
        gate_gain(
            io.moving.threshold_db,
            io.moving.floor_db,
            self._ratio,
            self._window,
            self._attack,
            self._release,
            self._hold,
            self._z,
            self._counts,
            gain,
        )
        scale_delayed(io.x, gain, self._ring, self._head, io.y)
