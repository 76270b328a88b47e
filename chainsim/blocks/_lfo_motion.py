"""What blocks that sway have in common: LFOs at one rate, each from its own phase, in absolute time or on the beat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

import numpy as np

from chainsim.block import Block, Io
from chainsim.dsp.lfo import SHAPES, lfo
from chainsim.lfo_rate import LfoRate
from chainsim.music.note_value import parse_note_value
from chainsim.settings import Settings, fixed
from chainsim.units import Array


class SweepRate(LfoRate):
    """Shape, rate or note value, and phase; the right side may lag."""

    phase: float = fixed(0.75, 0.0, 1.0, "1", "where in its turn it begins; a sine is lowest at 0.75")
    stereo_phase: float = fixed(
        0.0, 0.0, 0.5, "1", "share of a turn by which the right side lags; 0.5 is opposite, 0 adds no second channel"
    )


W = TypeVar("W", bound=Settings)


class Swaying(Block[W]):
    """A block moved by LFOs, one a side: stereo where the sides differ, and on the beat where a note value says so."""

    control_inputs = ("tempo",)

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2 if settings.stereo_phase > 0.0 else channels["in"]

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        return tempo_needed(settings)

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return bool(settings.shape == "sample and hold")


def turns(settings: LfoRate, sample_rate_hz: float) -> tuple[float, float]:
    """Turns per sample and per beat; one of them is 0."""
    if settings.note is None:
        return settings.rate_hz / sample_rate_hz, 0.0
    return 0.0, 1.0 / parse_note_value(settings.note).beats


def tempo_needed(settings: LfoRate) -> tuple[str, ...]:
    """Control ports that an LFO makes use of."""
    return () if settings.note is None else ("tempo",)


def lfo_rows(settings: LfoRate, phases: Sequence[float], io: Io, sample_rate_hz: float, seed: int) -> Array:
    """One LFO for each phase, in turns; shape (phases, frames), -1 to 1."""
    per_sample, per_beat = turns(settings, sample_rate_hz)
    y = np.empty((len(phases), io.frames))
    for row, phase in zip(y, phases, strict=True):
        # A phase is so much of a beat that has passed already; an LFO by rate has a beat of one turn that stands still.
        if settings.note is None:
            clock = np.zeros((2, io.frames))
            clock[1] = phase
        else:
            clock = np.array(io.control["tempo"][:2])
            clock[1] += phase / per_beat
        lfo(io.n0, clock, per_sample, per_beat or 1.0, sample_rate_hz, SHAPES.index(settings.shape), seed, row)
    return y


def side_phases(settings: SweepRate, channels: int) -> list[float]:
    """Phase of each channel."""
    return [settings.phase - c * settings.stereo_phase for c in range(channels)]
