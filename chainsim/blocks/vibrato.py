"""Vibrato: the pitch sways about itself, by reading a short delay line whose delay moves.

    y[n] = x[n - D[n]],   pitch 1 - dD/dt                                                                       (1)

The depth is that of the pitch: how far the delay has to move for it follows from the rate (equation (1) of
`chainsim.dsp.modulated_delay`). The delay's middle is no longer than the deepest vibrato of the render needs. Nobody
asked for it, so it is what the block reports as its latency; the sway about it is the effect.
"""

from __future__ import annotations

import math
from typing import Any, Literal

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.blocks._lfo_motion import tempo_needed, turns
from chainsim.dsp.delay_line import ring_shape
from chainsim.dsp.modulated_delay import NEWEST, REACH, SHAPES, pitch_swing_delays, read_along, slew_delays
from chainsim.lfo_rate import LfoRate
from chainsim.settings import choice, fixed, movable
from chainsim.units import cents_to_ratio, one_pole_coefficient

DEPTH_MS = 60.0
"""Time to 1 - 1/e of a new depth."""

RINGS = 3.0
"""Samples by which the interpolation reaches back."""


class VibratoSettings(LfoRate):
    shape: Literal["sine", "triangle", "square"] = choice(
        "sine", "how the pitch moves; a square is a trill and begins above"
    )
    rate_hz: float = fixed(5.5, 0.2, 14.0, "Hz", "how often")
    depth_cents: float = movable(25.0, 0.0, 200.0, "cents", "how far the pitch goes to either side")


@register("vibrato")
class Vibrato(Block[VibratoSettings]):
    """Lets the pitch sway, by so many cents and so often; nothing of the straight sound is left beside it."""

    control_inputs = ("tempo",)
    latency_probe = LatencyProbe({"depth_cents": 0.0})
    source = (
        "Doppler; Laakso, Valimaki, Karjalainen, Laine, IEEE Signal Processing Magazine 13(1), 1996 (interpolation)"
    )

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        return tempo_needed(settings)

    def prepare(self, context: Context) -> None:
        rate_hz = float(context.sample_rate_hz)
        self._rate_hz, self._shape = rate_hz, SHAPES.index(self.settings.shape)
        self._per_sample, self._per_beat = turns(self.settings, rate_hz)
        slowest = self._per_sample + context.tempo_bpm[0] / (60.0 * rate_hz) * self._per_beat
        reach = (cents_to_ratio(context.extremes["depth_cents"][1]) - 1.0) / slowest * REACH[self._shape]
        self.latency_samples = NEWEST + math.ceil(reach)
        self.tail_s = (reach + RINGS) / rate_hz
        self._keep = one_pole_coefficient(DEPTH_MS / 1000.0, rate_hz)
        self._ring = np.zeros(ring_shape(context.out_channels, self.latency_samples + reach))
        self._head = np.zeros(1, np.int64)
        self._z_depth, self._z_slew = np.full((2, 1), math.nan)

    def reset(self) -> None:
        self._ring.fill(0.0)
        self._head.fill(0)
        self._z_depth.fill(math.nan)
        self._z_slew.fill(math.nan)

    def process(self, io: Io) -> None:
        tempo = np.zeros((2, io.frames)) if self.settings.note is None else io.control["tempo"]
        delays = np.empty((1, io.frames))
        pitch_swing_delays(
            io.n0,
            tempo,
            self._per_sample,
            self._per_beat,
            self._rate_hz,
            self._shape,
            io.moving.depth_cents,
            self.latency_samples,
            self._keep,
            self._z_depth,
            delays[0],
        )
        slew_delays(self._z_slew, delays)
        read_along(io.x, delays[0], self._ring, self._head, io.y)
