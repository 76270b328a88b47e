"""Chorus: a few more of the same horn, each a little late and never quite in tune, spread between left and right.

    y[n] = dry x[n] + wet / sqrt(V) sum over v of g_v x[n - D_v[n]]                                              (1)

The voices' middle delays lie evenly in their logarithm about `delay_ms`, up to 1.5 times as long and as short: so no
comb has its teeth where another's are. Every voice has its own turn of the LFO and its own wandering
(`chainsim.dsp.chorus_voices`), and a place by the equal-power law. With a depth of A ms and r turns a second a voice
goes out of tune by up to 2 pi r A / 1000: 1.2 ms at 0.6 Hz are 8 cents.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.blocks._lfo_motion import lfo_rows, tempo_needed
from chainsim.dsp.chorus_voices import sum_voices, wandering_delays
from chainsim.dsp.delay_line import ring_shape
from chainsim.dsp.modulated_delay import slew_delays
from chainsim.lfo_rate import LfoRate
from chainsim.settings import choice, fixed, level, movable, whole
from chainsim.units import Array, ms_to_samples

MOST_VOICES = 6

SPREAD = 1.5
"""Longest middle delay over that of the block, and that over the shortest."""

RINGS = 3.0
"""Samples by which the interpolation reaches back."""


class ChorusSettings(LfoRate):
    shape: Literal["sine", "triangle"] = choice("sine", "how the voices move")
    rate_hz: float = fixed(0.6, 0.01, 10.0, "Hz", "how often")
    voices: int = whole(3, 1, MOST_VOICES, "how many horns are added")
    delay_ms: float = fixed(16.0, 5.0, 40.0, "ms", "how late they are on the whole")
    depth_ms: float = movable(1.2, 0.0, 8.0, "ms", "how far each one's time sways to either side", ramp_ms=60.0)
    drift: float = fixed(0.35, 0.0, 1.0, "1", "share of that which is each one's own wandering rather than the LFO")
    width: float = fixed(0.7, 0.0, 1.0, "1", "how far they stand apart; 0 adds no second channel")
    dry_db: float = level(0.0, -96.0, 24.0, "level of the horn itself")
    wet_db: float = level(-6.0, -96.0, 24.0, "level of the others, all together")


@register("chorus")
class Chorus(Block[ChorusSettings]):
    """Makes a section of one horn: voices that are a little late and never quite in tune."""

    control_inputs = ("tempo",)
    rings = True
    latency_probe = LatencyProbe({"dry_db": 0.0, "wet_db": "off"})
    source = "J. Dattorro, Effect Design Part 2: Delay-Line Modulation and Chorus, JAES 45(10), 1997"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2 if settings.width > 0.0 else channels["in"]

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        return tempo_needed(settings)

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return bool(settings.drift > 0.0)

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        self._rate_hz, self._seed = rate_hz, context.seed
        self._centres = centre_delays(chosen.voices, ms_to_samples(chosen.delay_ms, rate_hz))
        self._phases = [v / chosen.voices for v in range(chosen.voices)]
        self._gains = voice_gains(chosen.voices, chosen.width, context.out_channels)
        longest = float(self._centres[-1]) + ms_to_samples(context.extremes["depth_ms"][1], rate_hz)
        self._ring = np.zeros(ring_shape(context.channels["in"], longest))
        self._head = np.zeros(1, np.int64)
        self._z = np.full(chosen.voices, math.nan)
        self.tail_s = 0.0 if context.extremes["wet_db"][1] == -math.inf else (longest + RINGS) / rate_hz

    def reset(self) -> None:
        self._ring.fill(0.0)
        self._head.fill(0)
        self._z.fill(math.nan)

    def process(self, io: Io) -> None:
        moving = io.moving
        delays = lfo_rows(self.settings, self._phases, io, self._rate_hz, self._seed)
        wandering_delays(io.n0, moving.depth_ms, self._centres, self.settings.drift, self._seed, self._rate_hz, delays)
        slew_delays(self._z, delays)
        sum_voices(io.x, delays, self._gains, moving.dry_db, moving.wet_db, self._ring, self._head, io.y)


def centre_delays(voices: int, middle: float) -> Array:
    """Middle delay of each voice, rising; one alone has that of the block."""
    places = np.linspace(-1.0, 1.0, voices) if voices > 1 else np.zeros(1)
    return middle * SPREAD**places


def voice_gains(voices: int, width: float, channels: int) -> Array:
    """Gains (voices, channels) that make their power together that of one; voices next in time stand far apart."""
    gains = np.full((voices, channels), 1.0 / math.sqrt(voices))
    if channels == 2 and width > 0.0 and voices > 1:
        half = (voices + 1) // 2
        rank = np.array([v // 2 + half * (v % 2) for v in range(voices)])
        theta = (1.0 + width * (2.0 * rank / (voices - 1) - 1.0)) * (math.pi / 4.0)
        gains *= math.sqrt(2.0) * np.stack([np.cos(theta), np.sin(theta)], axis=1)
    return gains
