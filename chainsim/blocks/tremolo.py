"""Tremolo: the level sways, on both sides together or from side to side.

    y[n] = (1 + m[n] w(u[n])) x[n]                                                                              (1)

with m the depth and w the wave, -1 to 1, of `chainsim.dsp.lfo`, whose jumps are eased: at m = 1/2 the level goes from
-6.02 to +3.52 dB, at m = 1 from silence to +6.02 dB.
"""

from __future__ import annotations

from chainsim.block import Context, Io, LatencyProbe, register
from chainsim.blocks._lfo_motion import Swaying, SweepRate, lfo_rows, side_phases
from chainsim.kernel import kernel
from chainsim.settings import fixed, movable
from chainsim.units import Array, Audio


class TremoloSettings(SweepRate):
    phase: float = fixed(0.0, 0.0, 1.0, "1", "where in its turn it begins; a sine is loudest at 0.25")
    depth: float = movable(
        0.4, 0.0, 1.0, "1", "share of the level by which it swells and sinks; 1 sinks to silence", ramp_ms=20.0
    )


@kernel
def amplitude_modulation(x: Audio, depth: Array, waves: Array, y: Audio) -> None:
    """Fill y (channels, frames) by equation (1), with x (1 or channels, frames) and waves (channels, frames)."""
    for c in range(y.shape[0]):
        sound = x[min(c, x.shape[0] - 1)]
        for i in range(y.shape[1]):
            y[c, i] = (1.0 + depth[i] * waves[c, i]) * sound[i]


@register("tremolo")
class Tremolo(Swaying[TremoloSettings]):
    """Lets the level sway, by a rate or a note value; with the sides opposite, the sound goes to and fro."""

    latency_probe = LatencyProbe({"depth": 0.0})
    source = "amplitude modulation; definition"

    def prepare(self, context: Context) -> None:
        self._rate_hz, self._seed = float(context.sample_rate_hz), context.seed
        self._phases = side_phases(self.settings, context.out_channels)

    def process(self, io: Io) -> None:
        waves = lfo_rows(self.settings, self._phases, io, self._rate_hz, self._seed)
        amplitude_modulation(io.x, io.moving.depth, waves, io.y)
