"""Blender: y[n] = gd[n] dry[n] + gw[n] wet[n], with the wet path's polarity turned where asked."""

from __future__ import annotations

from chainsim.block import Block, Io, register
from chainsim.kernel import kernel
from chainsim.settings import Settings, flag, level
from chainsim.units import Array, Audio


class BlenderSettings(Settings):
    dry_db: float = level(0.0, -96.0, 24.0, "level of the path around the wet blocks")
    wet_db: float = level(0.0, -96.0, 24.0, "level of the path through the wet blocks")
    flip_wet: bool = flag(False, "turn the polarity of the wet path")


@kernel
def blend(dry: Audio, wet: Audio, gd: Array, gw: Array, sign: float, y: Audio) -> None:
    """Fill y (channels, frames); a mono path feeds both channels of a stereo sum."""
    for c in range(y.shape[0]):
        d = min(c, dry.shape[0] - 1)
        w = min(c, wet.shape[0] - 1)
        for i in range(y.shape[1]):
            y[c, i] = gd[i] * dry[d, i] + (sign * gw[i]) * wet[w, i]


@register("blender")
class Blender(Block[BlenderSettings]):
    """Sums a dry and a wet path, each with its own level."""

    audio_inputs = ("dry", "wet")
    source = "definition"

    def process(self, io: Io) -> None:
        sign = -1.0 if self.settings.flip_wet else 1.0
        blend(io.inputs["dry"], io.inputs["wet"], io.moving.dry_db, io.moving.wet_db, sign, io.y)
