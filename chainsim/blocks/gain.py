"""Gain: y[n] = g[n] x[n]."""

from __future__ import annotations

from chainsim.block import Block, Io, register
from chainsim.kernel import kernel
from chainsim.settings import Settings, level
from chainsim.units import Array, Audio


class GainSettings(Settings):
    gain_db: float = level(0.0, -96.0, 48.0, "how much louder (or, below 0, quieter) the sound comes out")


@kernel
def scale(x: Audio, g: Array, y: Audio) -> None:
    """Fill y (channels, frames) with x times the gain row g."""
    for c in range(x.shape[0]):
        for i in range(x.shape[1]):
            y[c, i] = g[i] * x[c, i]


@register("gain")
class Gain(Block[GainSettings]):
    """Makes the sound louder or quieter."""

    source = "definition"

    def process(self, io: Io) -> None:
        scale(io.x, io.moving.gain_db, io.y)
