"""Pan: equal-power placing between left and right, 0 dB in the middle.

    y_left[n] = sqrt(2) cos(theta[n]) x[n],  y_right[n] = sqrt(2) sin(theta[n]) x[n],  theta = (pan + 1) pi/4   (1)

In the middle both channels carry the input as it is, so that a panned lane and a plain one agree; at a side that
channel is 3.01 dB up and the summed power is the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from chainsim.block import Block, Io, register
from chainsim.kernel import kernel
from chainsim.settings import Settings, movable
from chainsim.units import Array, Audio


class PanSettings(Settings):
    pan: float = movable(0.0, -1.0, 1.0, "1", "-1 is left, 0 the middle, 1 right", ramp_ms=20.0)


@kernel
def pan_equal_power(x: Audio, pan: Array, y: Audio) -> None:
    """Fill y (2, frames) from x (1 or 2, frames): equation (1), on a pair channel by channel."""
    right = x.shape[0] - 1
    last, g0, g1 = math.nan, 1.0, 1.0
    for i in range(x.shape[1]):
        if pan[i] != last:
            last = pan[i]
            if last == 0.0:
                g0, g1 = 1.0, 1.0
            else:
                theta = (last + 1.0) * (math.pi / 4.0)
                g0, g1 = math.sqrt(2.0) * math.cos(theta), math.sqrt(2.0) * math.sin(theta)
        y[0, i] = g0 * x[0, i]
        y[1, i] = g1 * x[right, i]


@register("pan")
class Pan(Block[PanSettings]):
    """Places the sound between left and right; what comes out is stereo."""

    source = "equal-power panning law; common practice, no source"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2

    def process(self, io: Io) -> None:
        pan_equal_power(io.x, io.moving.pan, io.y)
