"""Phaser: notches that wander, where a chain of allpasses and the sound as it came cancel each other.

The chain and its feedback are those of `chainsim.dsp.allpass_chain`; its frequency travels evenly in octaves:

    fc[n] = low (high / low)^p[n],   p = (1 + w(u[n])) / 2                                                       (1)

With both levels equal the notches are complete; N stages make N / 2 of them. Feedback sharpens the peaks between them;
turned negative, it moves the peaks to where the notches would be.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.block import Context, Io, LatencyProbe, register
from chainsim.blocks._lfo_motion import Swaying, SweepRate, lfo_rows, side_phases
from chainsim.dsp.allpass_chain import MOST_STAGES, TOP, allpass_loop, ring_cycles, sweep_allpasses
from chainsim.settings import fixed, level, movable, whole

FLOOR = 10.0 ** (-90.0 / 20.0)


class PhaserSettings(SweepRate):
    rate_hz: float = fixed(0.25, 0.01, 30.0, "Hz", "how often")
    sweep_low_hz: float = movable(300.0, 100.0, 10_000.0, "Hz", "middle of the notches at the low end of the sweep")
    sweep_high_hz: float = movable(1800.0, 100.0, 10_000.0, "Hz", "middle of the notches at the high end of the sweep")
    stages: int = whole(6, 2, MOST_STAGES, "how many allpasses; every two make a notch")
    feedback_percent: float = movable(30.0, -90.0, 90.0, "%", "how much goes round again, sharpening the peaks")
    dry_db: float = level(-3.0, -96.0, 24.0, "level of the sound as it comes")
    wet_db: float = level(-3.0, -96.0, 24.0, "level of the turned sound; notches are deepest where both are equal")


@register("phaser")
class Phaser(Swaying[PhaserSettings]):
    """Sweeps a few soft notches through the sound, evenly in octaves."""

    latency_probe = LatencyProbe({"dry_db": 0.0, "wet_db": "off"})
    source = (
        "V. Zavalishin, The Art of VA Filter Design; Gray and Markel, IEEE Trans. ASSP 23(3), 1975 (normalized form)"
    )

    def prepare(self, context: Context) -> None:
        self._rate_hz, self._seed = float(context.sample_rate_hz), context.seed
        self._phases = side_phases(self.settings, context.out_channels)
        self._z = np.zeros((context.out_channels, MOST_STAGES))
        self.tail_s = tail_seconds(context, self.settings.stages)

    def reset(self) -> None:
        self._z.fill(0.0)

    def process(self, io: Io) -> None:
        moving = io.moving
        waves = lfo_rows(self.settings, self._phases, io, self._rate_hz, self._seed)
        turn = np.empty_like(io.y)
        sweep_allpasses(moving.sweep_low_hz, moving.sweep_high_hz, waves, self._rate_hz, turn)
        allpass_loop(
            io.x,
            turn,
            moving.feedback_percent,
            moving.dry_db,
            moving.wet_db,
            self.settings.stages,
            self._z,
            io.y,
        )


def tail_seconds(context: Context, stages: int) -> float:
    """Time in which the loop rings down by 90 dB where it rings longest: at its lowest frequency."""
    if context.extremes["wet_db"][1] == -math.inf:
        return 0.0
    lowest_hz = min(context.extremes[name][0] for name in ("sweep_low_hz", "sweep_high_hz"))
    lowest_hz = min(lowest_hz, TOP * context.sample_rate_hz)
    ends = {0.01 * k for k in context.extremes["feedback_percent"]}
    return max(ring_cycles(stages, k, FLOOR) for k in ends) / lowest_hz
