"""Equalizer: up to eight bands (bells, shelves, passes, notches) one after the other, and a level behind them.

    Y(z) = g H_1(z) H_2(z) ... X(z), each H of the cookbook in chainsim/dsp/biquad.py                           (1)

Each filter's response is that of its analog original, squeezed towards half the sample rate.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from pydantic import Field, field_validator, model_validator

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp import biquad
from chainsim.dsp.envelope import FLUSH
from chainsim.errors import SettingError
from chainsim.kernel import kernel
from chainsim.settings import Settings, choice, fixed, level
from chainsim.units import Array, Audio

MOST_BANDS = 8
_PASSES = {"low_pass": biquad.low_pass, "high_pass": biquad.high_pass, "notch": biquad.notch}
_GAINS = {"bell": biquad.bell, "low_shelf": biquad.low_shelf, "high_shelf": biquad.high_shelf}


class Band(Settings):
    shape: Literal["bell", "low_shelf", "high_shelf", "low_pass", "high_pass", "notch"] = choice(
        "bell", "what the band does around or beyond its frequency"
    )
    freq_hz: float = fixed(1000.0, 10.0, 40_000.0, "Hz", "middle of a bell or notch, corner of a shelf or pass")
    gain_db: float = fixed(0.0, -24.0, 24.0, "dB", "how much a bell or shelf raises or lowers")
    q: float = fixed(0.7071, 0.1, 20.0, "1", "how narrow; 0.7071 is a shelf or pass without a bump")

    @model_validator(mode="after")
    def _gain_has_a_meaning(self) -> Band:
        if self.shape in _PASSES and self.gain_db != 0.0:
            raise ValueError(f"gain_db = {self.gain_db:g} dB, but a {self.shape} has none")
        return self

    def design(self, sample_rate_hz: float) -> tuple[Array, Array]:
        """Coefficients b and a of the band's filter."""
        if self.shape in _PASSES:
            return _PASSES[self.shape](self.freq_hz, self.q, sample_rate_hz)
        return _GAINS[self.shape](self.freq_hz, self.gain_db, self.q, sample_rate_hz)


class EqualizerSettings(Settings):
    bands: list[Band] = Field([], description="the bands, up to 8", json_schema_extra={"unit": "1"})
    gain_db: float = level(0.0, -96.0, 24.0, "level of what comes out")

    @field_validator("bands")
    @classmethod
    def _not_too_many(cls, bands: list[Band]) -> list[Band]:
        if len(bands) > MOST_BANDS:
            raise ValueError(f"= {len(bands)} bands, allowed up to {MOST_BANDS}")
        return bands


@kernel
def flushed(x: Audio, y: Audio) -> None:
    """Fill y with x (channels, frames), without what is too small to hear."""
    for c in range(x.shape[0]):
        for i in range(x.shape[1]):
            y[c, i] = 0.0 if abs(x[c, i]) < FLUSH else x[c, i]


@kernel
def scale_in_place(gain: Array, y: Audio) -> None:
    """Multiply y (channels, frames) by the row gain."""
    for c in range(y.shape[0]):
        for i in range(y.shape[1]):
            y[c, i] *= gain[i]


@register("equalizer")
class Equalizer(Block[EqualizerSettings]):
    """Shapes the tone: raises, lowers or cuts parts of the range."""

    latency_probe = LatencyProbe({"bands": []})
    source = "R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter coefficients; W3C Note, 2021"

    def prepare(self, context: Context) -> None:
        rate_hz = context.sample_rate_hz
        top_hz = biquad.TOP * rate_hz
        faults = [
            f"bands[{k}].freq_hz = {band.freq_hz:g} Hz, allowed below {top_hz:g} Hz at this sample rate"
            for k, band in enumerate(self.settings.bands)
            if band.freq_hz >= top_hz
        ]
        if faults:
            raise SettingError("; ".join(faults))
        self._coefficients = biquad.sections([band.design(rate_hz) for band in self.settings.bands])
        self._z = np.zeros((context.out_channels, self._coefficients.shape[0], 2))
        tones_hz = np.array([*np.geomspace(20.0, top_hz, 16), *(band.freq_hz for band in self.settings.bands)])
        self.tail_s = biquad.cascade_ring_samples(self._coefficients, tones_hz, rate_hz) / rate_hz

    def reset(self) -> None:
        self._z.fill(0.0)

    def process(self, io: Io) -> None:
        flushed(io.x, io.y)
        biquad.biquad_df2t(self._coefficients, self._z, io.y)
        scale_in_place(io.moving.gain_db, io.y)
