"""Flanger: the sound and a short, sweeping delay of it cancel and reinforce each other in a comb that moves.

With both levels equal and no feedback there are notches at (2 k + 1) / (2 D) and peaks of +6.02 dB over each at k / D.
The delay goes evenly in octaves between its two ends (`chainsim.dsp.flanger_loop`). Through zero, the straight sound is
held back by as much as the sweep goes to one side: the delayed one overtakes it, and in that moment the comb opens
altogether, or, with the delayed sound's polarity turned, nothing is left. What it is held back by nobody asked for: it
is reported as latency.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from chainsim.block import Context, Io, LatencyProbe, register
from chainsim.blocks._lfo_motion import Swaying, SweepRate, lfo_rows, side_phases
from chainsim.dsp.delay_line import LEAST, ring_shape
from chainsim.dsp.flanger_loop import flanger_loop, sweep_delays
from chainsim.dsp.modulated_delay import slew_delays
from chainsim.settings import choice, fixed, flag, level, movable
from chainsim.units import ms_to_samples

FLOOR = 10.0 ** (-90.0 / 20.0)

RINGS = 3.0
"""Samples by which the interpolation reaches back, each time round."""


class FlangerSettings(SweepRate):
    shape: Literal["sine", "triangle"] = choice("sine", "how the delay moves")
    rate_hz: float = fixed(0.2, 0.01, 10.0, "Hz", "how often")
    shortest_ms: float = movable(0.4, 0.1, 20.0, "ms", "delay at the high end of the sweep", law="log", ramp_ms=60.0)
    longest_ms: float = movable(4.0, 0.1, 20.0, "ms", "delay at the low end of the sweep", law="log", ramp_ms=60.0)
    through_zero: bool = flag(False, "sweep from longest_ms before the sound to longest_ms after it")
    feedback_percent: float = movable(30.0, -90.0, 90.0, "%", "how much goes round again, sharpening the comb")
    flip_wet: bool = flag(False, "turn the polarity of the delayed sound: peaks become notches, and the bass goes")
    dry_db: float = level(-3.0, -96.0, 24.0, "level of the sound as it comes")
    wet_db: float = level(-3.0, -96.0, 24.0, "level of the delayed sound; the comb is deepest where both are equal")

    def idle(self) -> Mapping[str, str]:
        return {"shortest_ms": "beside through_zero = true"} if self.through_zero else {}


@register("flanger")
class Flanger(Swaying[FlangerSettings]):
    """Sweeps a comb through the sound: a copy of it, up to some ms late, that comes nearer and goes away again."""

    rings = True
    latency_probe = LatencyProbe({"dry_db": 0.0, "wet_db": "off", "through_zero": True})
    source = "J. Dattorro, Effect Design Part 2: Delay-Line Modulation and Chorus, JAES 45(10), 1997"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        self._rate_hz = rate_hz
        self._phases = side_phases(chosen, context.out_channels)
        longest = ms_to_samples(context.extremes["longest_ms"][1], rate_hz)
        self._late = 0
        if chosen.through_zero:
            self._late = math.ceil(longest + LEAST)
            longest += self._late
        else:
            longest = max(longest, ms_to_samples(context.extremes["shortest_ms"][1], rate_hz))
        self.latency_samples = float(self._late)
        shape = ring_shape(context.out_channels, longest)
        self._ring, self._straight = np.zeros(shape), np.zeros(shape)
        self._head = np.zeros(1, np.int64)
        self._z = np.full(context.out_channels, math.nan)
        rounds = rounds_until(FLOOR, max(abs(k) for k in context.extremes["feedback_percent"]) / 100.0)
        self.tail_s = 0.0
        if context.extremes["wet_db"][1] > -math.inf:
            self.tail_s = max(rounds * (longest + RINGS) - self._late, 0.0) / rate_hz

    def reset(self) -> None:
        for state in (self._ring, self._straight, self._head):
            state.fill(0)
        self._z.fill(math.nan)

    def process(self, io: Io) -> None:
        moving = io.moving
        delays = lfo_rows(self.settings, self._phases, io, self._rate_hz, 0)
        sweep_delays(moving.shortest_ms, moving.longest_ms, float(self._late), self._rate_hz / 1000.0, delays)
        slew_delays(self._z, delays)
        flanger_loop(
            io.x,
            delays,
            self._late,
            moving.feedback_percent,
            moving.dry_db,
            -moving.wet_db if self.settings.flip_wet else moving.wet_db,
            self._ring,
            self._straight,
            self._head,
            io.y,
        )


def rounds_until(floor: float, feedback: float) -> int:
    """How many times round the loop until all that is still to come is under `floor`; once at the least."""
    if feedback == 0.0:
        return 1
    return max(math.ceil(math.log(floor * (1.0 - feedback)) / math.log(feedback)), 1)
