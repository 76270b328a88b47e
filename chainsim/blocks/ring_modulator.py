"""Ring modulator: the sound times a sine, its carrier: every partial f becomes two, at f - c and f + c.

    y[n] = dry x[n] + wet sqrt(2) sin(2 pi p[n]) x[n],   p[n+1] = p[n] + c[n] / fs                              (1)

The root makes the wet sound as loud as the dry one. A carrier of its own stands in no relation to the notes: bells and
metal. One that follows the pitch at a ratio r turns the partials k f0 into (k - r) f0 and (k + r) f0: at a half an
octave below joins in, at whole numbers and simple fractions the sound stays a note. While the pitch is unsure the
carrier stays where it is; before the first note there is none.
What would come above half the sample rate is folded back: with a carrier of c Hz, what the horn has within c of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np

from chainsim.block import Block, Context, Copies, Io, LatencyProbe, register
from chainsim.blocks._synth_settings import PitchSource
from chainsim.dsp.delay_motion import sine_of_turns
from chainsim.dsp.pitch_following import follow_pitch, pitch_to_hz, smoothing
from chainsim.kernel import kernel
from chainsim.settings import choice, level, movable
from chainsim.units import Array, Audio

TOP = 0.45
"""Highest carrier, as a share of the sample rate."""


class RingModulatorSettings(PitchSource):
    follows: Literal["nothing", "pitch"] = choice("nothing", "whether the carrier goes along with the played pitch")
    freq_hz: float = movable(180.0, 0.1, 5000.0, "Hz", "the carrier's frequency")
    ratio: float = movable(
        0.5, 0.125, 8.0, "1", "where it follows: its frequency over the played one; 0.5 is an octave below", law="log"
    )
    dry_db: float = level(-1.0, -96.0, 24.0, "level of the sound as it comes")
    wet_db: float = level(-7.0, -96.0, 24.0, "level of the modulated sound")

    def idle(self) -> Mapping[str, str]:
        why = f'beside follows = "{self.follows}"'
        if self.follows == "pitch":
            return {"freq_hz": why, **super().idle()}
        return dict.fromkeys(("ratio", "source", "converter_latency_ms", "midi_channel", "listens_to"), why)


@kernel
def ring_modulate(
    x: Audio, carrier_hz: Array, dry: Array, wet: Array, sample_rate_hz: float, phase: Array, y: Audio
) -> None:
    """Fill y (channels, frames) from x of the same shape by equation (1); phase (1,) is the state, in turns."""
    begin, step, top = phase[0], 1.0 / sample_rate_hz, TOP
    for c in range(x.shape[0]):
        p = begin
        for i in range(x.shape[1]):
            y[c, i] = (dry[i] + wet[i] * (math.sqrt(2.0) * sine_of_turns(p))) * x[c, i]
            p += min(carrier_hz[i] * step, top)
            if p >= 1.0:
                p -= 1.0
        phase[0] = p


@register("ring_modulator")
class RingModulator(Block[RingModulatorSettings]):
    """Multiplies the horn by a sine, at a fixed frequency or at a ratio to the played note."""

    has_detector = True
    control_inputs = ("pitch",)
    reads_files = True
    latency_probe = LatencyProbe({"dry_db": 0.0, "wet_db": "off"})
    source = "sin a sin b = (cos(a - b) - cos(a + b)) / 2; definition"

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        return cls.control_inputs if settings.follows == "pitch" else ()

    @classmethod
    def copies(cls, settings: Any, extremes: Mapping[str, tuple[float, float]]) -> Copies:
        return "all" if extremes["dry_db"][1] > -math.inf else "nothing"

    def prepare(self, context: Context) -> None:
        self._rate_hz, self._a4_hz = float(context.sample_rate_hz), float(context.a4_hz)
        self._smooth, self._notes = smoothing(self._rate_hz), np.arange(128)
        self._phase, self._z = np.zeros(1), np.zeros(8)
        self.reset()

    def reset(self) -> None:
        self._phase.fill(0.0)
        self._z.fill(0.0)
        self._z[-1] = 1.0

    def process(self, io: Io) -> None:
        moving = io.moving
        carrier_hz = moving.freq_hz if self.settings.follows == "nothing" else self._following(io)
        ring_modulate(io.x, carrier_hz, moving.dry_db, moving.wet_db, self._rate_hz, self._phase, io.y)

    def _following(self, io: Io) -> Array:
        """Frequency of a carrier that follows, 0 until a pitch is known."""
        pitch, note, hz, none = np.zeros((4, io.frames))
        follow_pitch(
            io.control["pitch"],
            none,
            none,
            none,
            self._notes,
            self._smooth,
            self._a4_hz,
            self._rate_hz,
            self._z,
            pitch,
            note,
        )
        pitch_to_hz(pitch, none, self._a4_hz, hz)
        return np.where(note >= 0.0, hz * io.moving.ratio, 0.0)
