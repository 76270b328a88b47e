"""Delay: echoes at a time or a note value, with feedback, cuts in the loop, slow modulation and crossed sides.

    w[n] = cuts(line[n - D]),   line[n] = x[n] + limit(g w[n]),   y[n] = dry x[n] + wet w[n]                     (1)

Echo k comes after k D, at g^(k-1) times the first and having passed the cuts k times. The one-pole cuts hold each echo
back by no more than about 1 / (2 pi high_cut_hz), 0.02 ms with the cuts as they are by default.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from pydantic import field_validator, model_validator

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp.delay_line import delay_samples, ring_shape
from chainsim.dsp.delay_motion import crossfade_reads, glide_pull, glide_reads, sway_reads
from chainsim.dsp.echo_loop import (
    HIGH_CUT_FULL_HZ,
    HIGH_CUT_OFF_HZ,
    LOW_CUT_FULL_HZ,
    LOW_CUT_OFF_HZ,
    TOP,
    echo_loop,
)
from chainsim.music.note_value import note_seconds, parse_note_value
from chainsim.settings import Settings, choice, fixed, level, movable, words
from chainsim.units import ms_to_samples

CROSSFADE_MS = 50.0
FLOOR_DB = 90.0
"""How far below its loudest a tail has ended."""


class DelaySettings(Settings):
    alternatives = (("time_ms", "note"),)
    time_ms: float = movable(350.0, 1.0, 4000.0, "ms", "time from the note to its first echo", law="step")
    note: str | None = words(None, 'note value in place of time_ms, such as "1/8 dotted"; follows the tempo')
    swing_percent: float = fixed(66.7, 50.0, 75.0, "%", "share of the long note in a swung pair; 50 is straight")
    feedback_percent: float = movable(35.0, 0.0, 100.0, "%", "level of each echo relative to the one before")
    low_cut_hz: float = movable(80.0, LOW_CUT_OFF_HZ, 2000.0, "Hz", "thins each echo below this; 10 is off")
    high_cut_hz: float = movable(8000.0, 500.0, HIGH_CUT_OFF_HZ, "Hz", "darkens each echo above this; 18000 is off")
    modulation_rate_hz: float = fixed(0.5, 0.02, 10.0, "Hz", "how often the echoes sway in pitch")
    modulation_depth_ms: float = movable(0.0, 0.0, 10.0, "ms", "how far the time sways to either side")
    stereo: Literal["straight", "crossed"] = choice(
        "straight", "each side echoes by itself, or echoes begin left and change sides"
    )
    on_time_change: Literal["glide", "crossfade"] = choice(
        "glide", "a new time bends the echoes' pitch, by an octave at the most, or fades over to it"
    )
    glide_ms: float = fixed(250.0, 10.0, 5000.0, "ms", "time of a glide to 1 - 1/e of a short way")
    dry_db: float = level(0.0, -96.0, 24.0, "level of the sound as it comes")
    wet_db: float = level(-6.0, -96.0, 24.0, "level of the echoes")

    @field_validator("note")
    @classmethod
    def _is_a_note_value(cls, note: str | None) -> str | None:
        if note is not None:
            parse_note_value(note)
        return note

    @model_validator(mode="after")
    def _one_time(self) -> DelaySettings:
        if self.note is not None and "time_ms" in self.model_fields_set:
            raise ValueError("both time_ms and note are given, allowed one of them")
        return self


@register("delay")
class Delay(Block[DelaySettings]):
    """Repeats what is played, at a time in ms or a note value, fading away."""

    control_inputs = ("tempo",)
    rings = True
    latency_probe = LatencyProbe({"dry_db": 0.0, "wet_db": "off"})
    source = "Laakso, Valimaki, Karjalainen, Laine, IEEE Signal Processing Magazine 13(1), 1996 (fractional delay)"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2 if settings.stereo == "crossed" else channels["in"]

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        self._rate_hz = rate_hz
        if chosen.note is None:
            self._scale, self._inverse = rate_hz / 1000.0, 0
            longest = ms_to_samples(context.extremes["time_ms"][1], rate_hz)
        else:
            at_60_s = note_seconds(parse_note_value(chosen.note), 60.0, chosen.swing_percent)
            self._scale, self._inverse = 60.0 * at_60_s * rate_hz, 1
            longest = self._scale / context.tempo_bpm[0]
        longest += ms_to_samples(context.extremes["modulation_depth_ms"][1], rate_hz)
        self._pull = glide_pull(chosen.glide_ms, rate_hz)
        self._fade = round(ms_to_samples(CROSSFADE_MS, rate_hz))
        self._crossed = int(chosen.stereo == "crossed")
        self._ring = np.zeros(ring_shape(context.out_channels, longest))
        self._head = np.zeros(1, np.int64)
        self._left = np.zeros(1, np.int64)
        self._z = np.zeros((context.out_channels, 2))
        self._z_move = np.full(2, math.nan)
        self.tail_s = tail_seconds(context, longest / rate_hz)
        self.reset()

    def reset(self) -> None:
        for state in (self._ring, self._head, self._left, self._z):
            state.fill(0)
        self._z_move[:] = math.nan, 0.0

    def process(self, io: Io) -> None:
        moving = io.moving
        reads = np.empty((3, io.frames))
        if self._inverse == 1:
            delay_samples(io.control["tempo"][0], self._scale, 1, reads[0])
        else:
            delay_samples(moving.time_ms, self._scale, 0, reads[0])
        if self.settings.on_time_change == "glide":
            glide_reads(self._pull, self._z_move, reads)
        else:
            crossfade_reads(self._fade, self._z_move, self._left, reads)
        turns = self.settings.modulation_rate_hz / self._rate_hz
        sway_reads(io.n0, turns, moving.modulation_depth_ms, self._scale_ms(), reads)
        echo_loop(
            io.x,
            reads,
            moving.feedback_percent,
            moving.low_cut_hz,
            moving.high_cut_hz,
            moving.dry_db,
            moving.wet_db,
            self._crossed,
            self._rate_hz,
            self._ring,
            self._head,
            self._z,
            io.y,
        )

    def _scale_ms(self) -> float:
        return self._rate_hz / 1000.0


def tail_seconds(context: Context, longest_s: float) -> float:
    """Upper bound of the time in which the echoes fall to 90 dB below the loudest sound, with the delay at its longest.

    One time round the loop takes at least the feedback off, and what the cuts take off where they take least, between
    f1 and f2: they leave 1 / (1 + f1 / f2) there and hold back by 1 / (pi (f1 + f2)).
    """
    feedback, dry_db, wet_db = (context.extremes[n] for n in ("feedback_percent", "dry_db", "wet_db"))
    low_hz, high_hz = context.extremes["low_cut_hz"][0], context.extremes["high_cut_hz"][1]
    gain, held_s = feedback[1] / 100.0, 0.0
    rate_hz = context.sample_rate_hz
    f1, f2 = (rate_hz / math.pi * math.tan(math.pi * min(f / rate_hz, TOP)) for f in (low_hz, high_hz))
    # Louder than one echo is what they add up to while a note goes on, at worst all in phase.
    pile_db = -20.0 * math.log10(max(1.0 - gain, 1e-5))
    if low_hz >= LOW_CUT_FULL_HZ and high_hz <= HIGH_CUT_FULL_HZ:
        gain /= 1.0 + f1 / f2
        held_s = 1.0 / (math.pi * (f1 + f2))
    start_db = min(0.0, wet_db[1] - dry_db[0] + pile_db) if wet_db[1] > -math.inf else -math.inf
    audible_db = FLOOR_DB + start_db
    if audible_db < 0.0:
        return 0.0
    if gain >= 1.0:
        return math.inf
    each_db = -20.0 * math.log10(gain) if gain > 0.0 else math.inf
    echoes = math.floor(audible_db / each_db)
    cuts = [high_hz, low_hz] if low_hz > LOW_CUT_OFF_HZ else [high_hz]
    ring_s_per_db = sum(_ring_samples_per_db(f / rate_hz) for f in cuts) / rate_hz

    def end_s(k: int) -> float:
        return (k + 1) * (longest_s + held_s) + (audible_db - (k * each_db if k else 0.0)) * ring_s_per_db

    return max(end_s(0), end_s(echoes))


def _ring_samples_per_db(cutoff: float) -> float:
    """How long a cut at this share of the rate rings for each dB: its pole is (1 - t) / (1 + t), t = tan(pi cutoff)."""
    t = math.tan(math.pi * min(cutoff, TOP))
    pole = abs((1.0 - t) / (1.0 + t))
    return math.log(10.0) / 20.0 / -math.log(pole) if pole > 0.0 else 0.0
