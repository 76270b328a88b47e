"""The horn's own loudness as a controller: a peak follower, its level mapped to 0 ... 1 between two levels."""

from __future__ import annotations

import math

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed
from chainsim.units import Array, Audio, one_pole_coefficient


class EnvelopeSettings(Settings):
    low_db: float = fixed(-50.0, -96.0, 0.0, "dB", "level (dBFS, peak) at which the position is 0")
    high_db: float = fixed(-10.0, -96.0, 6.0, "dB", "level at which it is 1")
    attack_ms: float = fixed(10.0, 0.1, 500.0, "ms", "time to 1 - 1/e of a rise")
    release_ms: float = fixed(150.0, 1.0, 5000.0, "ms", "time to 1/e of a fall")


@kernel
def level_position(x: Audio, low_db: float, high_db: float, ka: float, kr: float, state: Array, y: Array) -> None:
    """Fill y (1, frames); state (1,) is the follower's envelope (branching one-pole on |x|)."""
    e = state[0]
    for i in range(x.shape[1]):
        a = 0.0
        for c in range(x.shape[0]):
            a = max(a, abs(x[c, i]))
        k = ka if a > e else kr
        e = a + k * (e - a)
        if e < 1e-15:
            e = 0.0
            y[0, i] = 0.0
        else:
            y[0, i] = min(max((20.0 * math.log10(e) - low_db) / (high_db - low_db), 0.0), 1.0)
    state[0] = e


class Envelope(Block[EnvelopeSettings]):
    """One row: the position."""

    type_name = "envelope"
    settings_type = EnvelopeSettings
    rows = ("position",)

    def prepare(self, context: Context) -> None:
        self._ka = one_pole_coefficient(self.settings.attack_ms / 1000.0, context.sample_rate_hz)
        self._kr = one_pole_coefficient(self.settings.release_ms / 1000.0, context.sample_rate_hz)
        self._state = np.zeros(1)

    def reset(self) -> None:
        self._state.fill(0.0)

    def process(self, io: Io) -> None:
        s = self.settings
        level_position(io.x, s.low_db, max(s.high_db, s.low_db + 0.1), self._ka, self._kr, self._state, io.y)
