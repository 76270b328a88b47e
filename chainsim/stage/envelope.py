"""The horn's own level as a controller: the peak follower of dsp/envelope.py, mapped to 0 ... 1 between two levels."""

from __future__ import annotations

import math

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.dsp.envelope import follow_peaks, follower
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed
from chainsim.units import Array

HOLD_MS = 15.0
"""One period of 67 Hz, so that low notes do not flutter."""


class EnvelopeSettings(Settings):
    low_db: float = fixed(-50.0, -96.0, 0.0, "dB", "level (dBFS, peak) at which the position is 0")
    high_db: float = fixed(-10.0, -96.0, 6.0, "dB", "level at which it is 1")
    attack_ms: float = fixed(10.0, 0.1, 500.0, "ms", "time to 1 - 1/e of a rise")
    release_ms: float = fixed(150.0, 1.0, 5000.0, "ms", "time to 1/e of a fall")


@kernel
def level_position(envelope: Array, low_db: float, high_db: float, y: Array) -> None:
    """Fill y (1, frames): where each level of `envelope` lies between two levels."""
    for i in range(y.shape[1]):
        if envelope[i] > 0.0:
            y[0, i] = min(max((20.0 * math.log10(envelope[i]) - low_db) / (high_db - low_db), 0.0), 1.0)
        else:
            y[0, i] = 0.0


class Envelope(Block[EnvelopeSettings]):
    """The horn's own loudness."""

    type_name = "envelope"
    settings_type = EnvelopeSettings
    rows = ("position",)

    def prepare(self, context: Context) -> None:
        chosen = self.settings
        self._attack, self._release, self._hold = follower(
            chosen.attack_ms, HOLD_MS, chosen.release_ms, context.sample_rate_hz
        )
        self._z, self._rest = np.zeros(4), np.zeros(2, np.int64)

    def reset(self) -> None:
        self._z.fill(0.0)
        self._rest.fill(0)

    def process(self, io: Io) -> None:
        envelope = np.empty(io.frames)
        follow_peaks(io.x, self._attack, self._release, self._hold, self._z, self._rest, envelope)
        low_db = self.settings.low_db
        level_position(envelope, low_db, max(self.settings.high_db, low_db + 0.1), io.y)
