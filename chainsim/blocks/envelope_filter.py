"""Envelope filter: a state variable filter whose cutoff the horn's own level moves, anew for every sample.

A peak follower gives the envelope e; raised by the sensitivity s it says how far the sweep is opened, and the cutoff
travels evenly in octaves:

    p[n] = min(s e[n], 1)                                      (1)
    fc[n] = low (high / low)^p[n]       direction "up"         (2)
          = high (low / high)^p[n]      direction "down"

The filter is trapezoidal (`chainsim.dsp.svf`): its resonance stays where it should and it stays stable while the cutoff
moves as fast as sound.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp.envelope import follow_peaks, follower
from chainsim.dsp.svf import RESPONSES, TOP, svf_coefficients, svf_ring_samples, svf_sweep
from chainsim.kernel import kernel
from chainsim.settings import Settings, choice, fixed, flag, level, movable
from chainsim.units import Array

HOLD_MS = 16.0
"""One period of 62.5 Hz, so that low notes do not buzz the cutoff, and shorter than the gap between tongued notes."""


class EnvelopeFilterSettings(Settings):
    response: Literal["low pass", "band pass", "high pass", "notch"] = choice(
        "low pass", "what the filter lets through"
    )
    direction: Literal["up", "down"] = choice("up", "where the cutoff goes when the horn gets louder")
    sweep_low_hz: float = movable(300.0, 20.0, 20_000.0, "Hz", "cutoff at the low end of the sweep")
    sweep_high_hz: float = movable(2500.0, 20.0, 20_000.0, "Hz", "cutoff at the high end of the sweep")
    q: float = movable(4.0, 0.5, 50.0, "1", "sharpness of the resonance", law="log")
    sensitivity_db: float = level(6.0, -24.0, 60.0, "gain before the follower; 0 dBFS then opens the sweep fully")
    attack_ms: float = fixed(8.0, 0.1, 500.0, "ms", "time to 1 - 1/e of the sweep when a note begins")
    release_ms: float = fixed(80.0, 1.0, 5000.0, "ms", "time to 1 - 1/e of the way back")
    level_compensated: bool = flag(True, "keep the loudness about even however sharp the resonance is")


@kernel
def sweep_octaves(
    low_hz: Array, high_hz: Array, sensitivity: Array, down: int, top_hz: float, cutoff_hz: Array
) -> None:
    """Turn `cutoff_hz` (frames,), at entry the envelope, into the cutoff of equations (1) and (2), at most `top_hz`."""
    last_low, last_high, last_p, start, span, found = math.nan, math.nan, math.nan, 0.0, 0.0, 0.0
    for i in range(cutoff_hz.shape[0]):
        if low_hz[i] != last_low or high_hz[i] != last_high:
            last_low, last_high, last_p = low_hz[i], high_hz[i], math.nan
            start, span = math.log(last_low), math.log(last_high) - math.log(last_low)
            if down == 1:
                start, span = start + span, -span
        p = min(sensitivity[i] * cutoff_hz[i], 1.0)
        if p != last_p:
            last_p = p
            found = min(math.exp(start + span * p), top_hz)
        cutoff_hz[i] = found


@register("envelope_filter")
class EnvelopeFilter(Block[EnvelopeFilterSettings]):
    """A resonant filter that each note sweeps open and lets fall shut: louder playing opens it further."""

    has_detector = True
    readings = ("cutoff_hz",)
    latency_probe = LatencyProbe(
        {"response": "notch", "q": 50.0, "sweep_low_hz": 20.0, "sweep_high_hz": 20.0}, low_hz=500.0
    )
    source = "V. Zavalishin, The Art of VA Filter Design; A. Simper, linear trapezoidal state variable filter"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, context.sample_rate_hz
        self._response = RESPONSES.index(chosen.response)
        self._down = int(chosen.direction == "down")
        self._even = int(chosen.level_compensated)
        self._rate_hz = float(rate_hz)
        self._attack, self._release, self._hold = follower(chosen.attack_ms, HOLD_MS, chosen.release_ms, rate_hz)
        self._z_follow = np.zeros(4)
        self._rest = np.zeros(2, np.int64)
        self._z = np.zeros((context.out_channels, 2))
        ends = [context.extremes[n] for n in ("sweep_low_hz", "sweep_high_hz")]
        cutoffs = [min(end, TOP * rate_hz) for pair in ends for end in pair]
        q = context.extremes["q"][1]
        self.tail_s = max(svf_ring_samples(f, q, rate_hz) for f in (min(cutoffs), max(cutoffs))) / rate_hz

    def reset(self) -> None:
        for state in (self._z_follow, self._rest, self._z):
            state.fill(0)

    def process(self, io: Io) -> None:
        cutoff_hz = io.readings[0]
        follow_peaks(io.detector, self._attack, self._release, self._hold, self._z_follow, self._rest, cutoff_hz)
        moving = io.moving
        sweep_octaves(
            moving.sweep_low_hz, moving.sweep_high_hz, moving.sensitivity_db, self._down, TOP * self._rate_hz, cutoff_hz
        )
        a = np.empty((3, io.frames))
        svf_coefficients(cutoff_hz, moving.q, self._rate_hz, a)
        svf_sweep(io.x, a, moving.q, self._response, self._even, self._z, io.y)
