"""Reverb: a feedback delay network of 16 lines whose decay time is the one asked for in every octave band.

The input, cut below `low_cut_hz` and diffused, is tapped 16 times (the first reflections); each tap feeds one line of
the network (dsp/fdn.py), whose absorption (dsp/absorption.py) makes T60 `decay_s` in the middle, `low_ratio` times it
below 250 Hz and `high_ratio` times it above 4 kHz. At `wet_db` = 0 noise comes back as loud as it went in, whatever the
decay time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp.absorption import HIGH_HZ, LOW_HZ, corner
from chainsim.dsp.biquad import high_pass, low_pass, sections
from chainsim.dsp.fdn import LINES, SPAN, Tank, aligned_zeros
from chainsim.dsp.fdn_reverb import SPRING_A, fdn_reverb
from chainsim.dsp.fdn_spaces import SPACES, diffuser_lengths, first_reflections, line_lengths
from chainsim.settings import Settings, choice, fixed, level, movable

_SPRING_HZ = 3600.0
"""Up to where springs carry sound."""

_FOURTH_ORDER = (0.541196, 1.306563)
"""Quality factors of a fourth-order Butterworth filter."""

_TURN_HZ = np.array([0.89, -1.21, 1.51, -1.13, 1.67, -0.79, 2.11, -1.93])
"""How often each pair of lines turns in a second at modulation 1: no two alike, as many forwards as backwards."""

_PEAK_DB = 10.0
"""How far the peaks of a tail may stand over those of a steady sound of the same level, for `tail_s`."""


class ReverbSettings(Settings):
    space: Literal["hall", "room", "plate", "spring"] = choice(
        "hall",
        "kind of space: a hall (long paths, spread first reflections), a room (short paths), a hanging metal plate "
        "(dense at once), or coil springs (chirping echoes)",
    )
    decay_s: float = movable(
        1.8,
        0.1,
        30.0,
        "s",
        "time in which the sound falls by 60 dB, between 250 Hz and 4 kHz",
        law="log",
        ramp_ms=250.0,
    )
    low_ratio: float = fixed(1.0, 0.25, 4.0, "1", "decay time below about 250 Hz relative to decay_s")
    high_ratio: float = fixed(0.6, 0.1, 2.0, "1", "decay time above about 4 kHz relative to decay_s")
    size: float = fixed(1.0, 0.4, 2.0, "1", "how large the space is, relative to its kind")
    pre_delay_ms: float = fixed(10.0, 0.0, 500.0, "ms", "time from the dry sound to where the reverb begins")
    width: float = movable(1.0, 0.0, 1.0, "1", "0 puts the reverb in the middle, 1 all around", ramp_ms=30.0)
    modulation: float = fixed(0.5, 0.0, 1.0, "1", "how fast the paths exchange, which blurs single resonances")
    low_cut_hz: float = fixed(40.0, 10.0, 1000.0, "Hz", "what lies below comes into the reverb weaker, 12 dB an octave")
    dry_db: float = level(0.0, -96.0, 24.0, "level of the sound as it came")
    wet_db: float = level(-12.0, -96.0, 24.0, "level of the reverb")


@register("reverb")
class Reverb(Block[ReverbSettings]):
    """Lets the sound ring on as in a hall, a room, a metal plate or springs; what comes out is stereo."""

    rings = True
    latency_probe = LatencyProbe(settings={"wet_db": "off", "dry_db": 0.0})
    source = "Jot and Chaigne 1991; Schlecht and Habets 2015 (turning matrix)"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2

    def prepare(self, context: Context) -> None:
        settings, rate_hz = self.settings, context.sample_rate_hz
        channels = context.channels["in"]
        space = SPACES[settings.space]
        lengths = line_lengths(space, settings.size, rate_hz)
        turn_hz = settings.modulation * _TURN_HZ
        self._tank = Tank(lengths, turn_hz, rate_hz)
        self._loss = -3.0 * math.log(10.0) * lengths / rate_hz
        self._nepers = np.zeros(LINES)
        self._corners = corner(LOW_HZ, rate_hz), corner(HIGH_HZ, rate_hz)
        self._design = np.zeros(6)

        taps, gains = first_reflections(space, settings.size, rate_hz)
        self._taps = taps + round(settings.pre_delay_ms * rate_hz / 1000.0)
        self._sources = np.array([0, 0, 1, 1] * 4, dtype=np.int64) * (channels - 1)
        self._tap_gains = 0.25 * gains / math.sqrt(float(np.mean(gains**2)))
        spans = -(-(int(np.max(self._taps)) + SPAN) // SPAN)
        self._input_ring = np.zeros((channels, 2 * spans * SPAN))

        cuts = [high_pass(settings.low_cut_hz, math.sqrt(0.5), rate_hz)]
        if space.springs and 0.4 * rate_hz > _SPRING_HZ:
            cuts += [low_pass(0.95 * _SPRING_HZ, q, rate_hz) for q in _FOURTH_ORDER]
        self._cuts = sections(cuts)
        self._cut_z = np.zeros((channels, len(self._cuts), 2))
        self._diffusers = diffuser_lengths(space, rate_hz)
        self._diffuser_heads = np.zeros((channels, len(self._diffusers)), np.int64)
        self._diffuser_rings = np.zeros((channels, len(self._diffusers), int(np.max(self._diffusers, initial=1))))
        stretch = max(1, round(rate_hz / (2.0 * _SPRING_HZ)))
        self._spring_head = np.zeros((channels, 1), np.int64)
        self._spring_ring = np.zeros((channels, stretch, space.springs))
        self._spring_waiting = np.zeros((channels, stretch * space.springs + 1))
        self._spring_out = np.zeros(stretch * space.springs)
        self._s, self._q = aligned_zeros(SPAN), aligned_zeros((LINES + 2) * SPAN)
        self._v = aligned_zeros(SPAN * LINES).reshape(SPAN, LINES)
        self.tail_s = self._tail_s(context)
        self.reset()

    def _tail_s(self, context: Context) -> float:
        settings, rate_hz = self.settings, context.sample_rate_hz
        _, decay_s = context.extremes.get("decay_s", (settings.decay_s, settings.decay_s))
        decay_s *= max(1.0, settings.low_ratio, settings.high_ratio)
        _, wet_db = context.extremes.get("wet_db", (settings.wet_db, settings.wet_db))
        dry_db, _ = context.extremes.get("dry_db", (settings.dry_db, settings.dry_db))
        if wet_db == -math.inf:
            return 0.0
        over_db = max(0.0, 90.0 + _PEAK_DB - max(0.0, dry_db - wet_db))
        stretch, springs = self._spring_ring.shape[1:]
        chirp_samples = stretch * springs * (1.0 + (1.0 + SPRING_A) / (1.0 - SPRING_A))
        begins_s = (float(np.max(self._taps)) + chirp_samples) / rate_hz
        low_cut_s = over_db * math.log(10.0) / 20.0 / (math.sqrt(0.5) * 2.0 * math.pi * settings.low_cut_hz)
        return begins_s + max(decay_s * over_db / 60.0, low_cut_s)

    def reset(self) -> None:
        self._tank.reset()
        self._design[:] = [math.nan, 0.0, 0.0, 0.0, *self._corners]
        for state in (self._input_ring, self._cut_z, self._diffuser_rings, self._spring_ring, self._spring_waiting):
            state.fill(0.0)
        self._diffuser_heads.fill(0)
        self._spring_head.fill(0)

    def process(self, io: Io) -> None:
        tank, moving = self._tank, io.moving
        fdn_reverb(
            io.n0,
            io.x,
            moving.decay_s,
            moving.dry_db,
            moving.wet_db,
            moving.width,
            io.y,
            self._design,
            self._loss,
            self._nepers,
            self.settings.low_ratio,
            self.settings.high_ratio,
            self._cuts,
            self._cut_z,
            self._diffusers,
            self._diffuser_heads,
            self._diffuser_rings,
            self._spring_head,
            self._spring_ring,
            self._spring_waiting,
            self._spring_out,
            self._s,
            self._input_ring,
            self._taps,
            self._sources,
            self._tap_gains,
            tank.lengths,
            tank.starts,
            tank.heads,
            tank.rings,
            tank.filters,
            tank.coefficients,
            tank.turns,
            tank.waves,
            self._v,
            self._q,
        )
