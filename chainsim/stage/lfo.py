"""A low frequency oscillator as a controller: dsp/lfo.py's waves between 0 and 1.

    u[n] = n r / fs + p,   or u[n] = beat[n] / b + p,   position = (1 + wave(u)) / 2               (1)

with r turns a second, or one turn in b quarters, from the phase p on.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.dsp.lfo import EASE_S, SHAPES, lfo_shape
from chainsim.kernel import kernel
from chainsim.lfo_rate import LfoRate
from chainsim.music.note_value import parse_note_value
from chainsim.settings import fixed
from chainsim.units import Array


class LfoSettings(LfoRate):
    rate_hz: float = fixed(0.5, 0.01, 30.0, "Hz", "how often")
    phase: float = fixed(0.0, 0.0, 1.0, "1", "where in its turn it begins")


@kernel
def lfo_positions(
    n0: int,
    tempo: Array,
    turns_per_sample: float,
    turns_per_beat: float,
    phase: float,
    sample_rate_hz: float,
    shape: int,
    seed: int,
    y: Array,
) -> None:
    """Fill y (1, frames) by equation (1); of the two rates the one not wanted is 0, `tempo` as in `dsp.lfo.lfo`."""
    for i in range(y.shape[1]):
        turns = (n0 + i) * turns_per_sample + tempo[1, i] * turns_per_beat + phase
        rate_hz = turns_per_sample * sample_rate_hz + tempo[0, i] / 60.0 * turns_per_beat
        wave = lfo_shape(turns, min(EASE_S * rate_hz, 0.25) + 1e-12, shape, seed)
        y[0, i] = min(max(0.5 + 0.5 * wave, 0.0), 1.0)


class Lfo(Block[LfoSettings]):
    """A slow wave, by rate or by note value."""

    type_name = "lfo"
    settings_type = LfoSettings
    audio_inputs = ()
    control_inputs = ("tempo",)
    rows = ("position",)

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        return () if settings.note is None else cls.control_inputs

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return bool(settings.shape == "sample and hold")

    def prepare(self, context: Context) -> None:
        chosen = self.settings
        self._rate_hz, self._seed = float(context.sample_rate_hz), context.seed
        self._per_sample, self._per_beat = chosen.rate_hz / self._rate_hz, 0.0
        if chosen.note is not None:
            self._per_sample, self._per_beat = 0.0, 1.0 / parse_note_value(chosen.note).beats
        self._shape = SHAPES.index(chosen.shape)

    def process(self, io: Io) -> None:
        tempo = np.zeros((2, io.frames)) if self.settings.note is None else io.control["tempo"]
        lfo_positions(
            io.n0,
            tempo,
            self._per_sample,
            self._per_beat,
            self.settings.phase,
            self._rate_hz,
            self._shape,
            self._seed,
            io.y,
        )
