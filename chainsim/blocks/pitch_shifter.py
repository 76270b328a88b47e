"""Pitch shifter: voices of the horn's own sound at intervals to it, in a key, or on a pitch of their own.

    y[n] = level (sum over v of g_v shifted_v[n - d_v] + unpitched max(g) rest[n])                               (1)

With `notes = "single"` the voices are made from the horn's harmonics period by period, and the rest is what is no tone
(chainsim.dsp.harmonic_shifter); with `notes = "several"` the peaks of the whole spectrum are moved, and there is no
rest (chainsim.dsp.peak_shifting). The take as it is does not come out: a lane or a blender adds it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from pydantic import Field, field_validator, model_validator

from chainsim.block import Block, Context, Copies, Io, LatencyProbe, register
from chainsim.blocks._synth_settings import PitchSource
from chainsim.blocks._voices import PlacedVoice, intervals_of, place_gains
from chainsim.dsp.drift import drift
from chainsim.dsp.harmonic_shifter import HarmonicShifter
from chainsim.dsp.harmony_note import HarmonyNote
from chainsim.dsp.peak_shifting import PeakShifter
from chainsim.dsp.pitch_following import interval_ratio
from chainsim.dsp.pitch_rows import F0_HZ
from chainsim.dsp.voice_mix import mix_voices
from chainsim.errors import SettingError
from chainsim.music.horns import find_horn
from chainsim.music.interval import Interval, parse_interval
from chainsim.music.pitch import midi_to_hz, parse_pitch
from chainsim.music.scale import parse_key
from chainsim.settings import choice, fixed, level, movable, words
from chainsim.units import Array, Audio, db_to_gain, ms_to_samples

MOST_VOICES = 8
WIDEST_SEMITONES, WIDEST_STEPS = 24, 14
LOWEST_NOTES = ("A0", "C8")
SOFTEST_DB = -96.0

OWN_NOTE_CENTS = 50.0
"""A quarter tone from the horn a voice is out of tune no more, but another note."""

INTERVAL_GLIDE_MS = 8.0
"""Time to 1 - 1/e from one degree's interval to the next one's."""


class ShiftedVoice(PlacedVoice):
    delay_ms: float = fixed(0.0, 0.0, 1000.0, "ms", "how much later it comes")
    drift_cents: float = fixed(0.0, 0.0, 30.0, "cents", "how far its tuning wanders, as a player's does")

    @field_validator("interval")
    @classmethod
    def _is_within_two_octaves(cls, text: str) -> str:
        interval = parse_interval(text)
        wide = (
            abs(interval.semitones) > WIDEST_SEMITONES
            if isinstance(interval, Interval)
            else abs(interval.steps) > WIDEST_STEPS
        )
        if wide:
            raise ValueError(f'= "{text}", allowed up to two octaves ("P15", {WIDEST_SEMITONES} semitones)')
        return text

    @model_validator(mode="after")
    def _is_no_wider_with_its_cents(self) -> ShiftedVoice:
        interval = parse_interval(self.interval)
        if isinstance(interval, Interval) and abs(interval.semitones + 0.01 * self.cents) > WIDEST_SEMITONES:
            raise ValueError(f'interval = "{self.interval}", cents = {self.cents:g}, allowed up to two octaves')
        return self

    @property
    def is_a_copy(self) -> bool:
        """Whether it is so near to unison that with the horn it forms a comb."""
        interval = parse_interval(self.interval)
        if self.pitch is not None or not isinstance(interval, Interval):
            return False
        return abs(100.0 * interval.semitones + self.cents) < OWN_NOTE_CENTS


class PitchShifterSettings(PitchSource):
    voices: list[ShiftedVoice] = Field(
        [], description="the voices, 1 to 8; none given stands for one in unison", json_schema_extra={"unit": "1"}
    )
    notes: Literal["single", "several"] = choice(
        "single", "whether the horn plays alone, or several sounds at once are to be shifted: two horns, multiphonics"
    )
    formant: float = movable(1.0, 0.0, 1.0, "1", "1: the horn's timbre stays where it is; 0: it moves with the pitch")
    commit_ms: float = fixed(
        60.0,
        20.0,
        200.0,
        "ms",
        "how old a note is when its place in the key is chosen; until then the last interval holds. 25 ms follow fast "
        "tonguing, but also scoops and grace notes",
    )
    lowest_note: str | None = words(
        None,
        'lowest note to shift, as it sounds: "E3"; it sets the latency; lower ones are heard as unpitched_db has it',
    )
    unpitched_db: float = level(0.0, SOFTEST_DB, 12.0, "level of tongue, breath and keys, which are never shifted")
    level_db: float = level(0.0, -96.0, 24.0, "level of what comes out")

    @field_validator("voices")
    @classmethod
    def _few_voices(cls, voices: list[ShiftedVoice]) -> list[ShiftedVoice]:
        if len(voices) > MOST_VOICES:
            raise ValueError(f"= {len(voices)} voices, allowed up to {MOST_VOICES}")
        return voices

    @field_validator("lowest_note")
    @classmethod
    def _is_a_pitch(cls, pitch: str | None) -> str | None:
        if pitch is not None and not parse_pitch(LOWEST_NOTES[0]) <= parse_pitch(pitch) <= parse_pitch(LOWEST_NOTES[1]):
            raise ValueError(f'= "{pitch}", allowed "{LOWEST_NOTES[0]}" ... "{LOWEST_NOTES[1]}"')
        return pitch

    @model_validator(mode="after")
    def _several_have_no_degree(self) -> PitchShifterSettings:
        if self.notes == "several":
            for k, voice in enumerate(self.voices):
                if voice.pitch is not None or voice.in_key:
                    raise ValueError(
                        f'voices[{k}]: a pitch or steps in a key ask for notes = "single"; of several notes at once '
                        'none is known, allowed an interval with its quality, such as "M3 above"'
                    )
        return self

    def idle(self) -> Mapping[str, str]:
        if self.notes == "several":
            of_one_horn = (*PitchSource.specs(), "listens_to", "commit_ms", "unpitched_db")
            return dict.fromkeys(of_one_horn, 'beside notes = "several"')
        alone = {} if any(v.in_key for v in self.voices) else {"commit_ms": "without a voice in the key"}
        return {**super().idle(), **alone}


@register("pitch_shifter")
class PitchShifter(Block[PitchShifterSettings]):
    """Plays the horn's own sound at other pitches: harmonies, doubles, drones. The horn itself is not in it."""

    has_detector = True
    control_inputs = ("pitch",)
    reads_files = True
    latency_probe = LatencyProbe({"voices": []})
    source = (
        "pitch-synchronous overlap-add (Moulines, Charpentier 1990) on harmonics and rest (Stylianou 2001); "
        "peak shifting with phase locking (Laroche, Dolson 1999)"
    )

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2 if any(v.pan != 0.0 for v in settings.voices) else channels["in"]

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        return () if settings.notes == "several" else cls.control_inputs

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return any(v.drift_cents > 0.0 for v in settings.voices)

    @classmethod
    def follows_key(cls, settings: Any) -> bool:
        return any(v.in_key for v in settings.voices)

    @classmethod
    def copies(cls, settings: Any, extremes: Mapping[str, tuple[float, float]]) -> Copies:
        if any(voice.is_a_copy for voice in settings.voices or [ShiftedVoice()]):
            return "all"
        return "rest" if settings.notes == "single" and extremes["unpitched_db"][1] > SOFTEST_DB else "nothing"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        voices = chosen.voices or [ShiftedVoice()]
        key = parse_key(context.key) if context.key is not None else None
        self._rate_hz, self._a4_hz = rate_hz, float(context.a4_hz)
        lowest_hz = context.lowest_hz
        if chosen.lowest_note is not None:
            lowest_hz = midi_to_hz(parse_pitch(chosen.lowest_note), context.a4_hz)
            if context.instrument is not None and lowest_hz > find_horn(context.instrument).range_hz()[1]:
                raise SettingError(
                    f'lowest_note = "{chosen.lowest_note}" lies above all that the {context.instrument} plays; '
                    "allowed a note of its range"
                )
        self._intervals = [
            np.zeros(128) if v.pitch is not None else intervals_of(f"voices[{k}]", v.interval, key) + 0.01 * v.cents
            for k, v in enumerate(voices)
        ]
        self._fixed_hz = np.array(
            [
                0.0 if v.pitch is None else midi_to_hz(parse_pitch(v.pitch) + 0.01 * v.cents, context.a4_hz)
                for v in voices
            ]
        )
        self._in_key = any(float(np.ptp(row)) > 0.0 for row in self._intervals)
        self._note = HarmonyNote(chosen.commit_ms, context.a4_hz, rate_hz)
        self.response_s = self._note.response_s if self._in_key else None
        self._drifts = [(context.seed + k, v.drift_cents) for k, v in enumerate(voices)]
        self._steady_ratios = np.array([[2.0 ** (row[0] / 12.0)] for row in self._intervals])
        self._moving = [
            k for k, (row, v) in enumerate(zip(self._intervals, voices, strict=True)) if np.ptp(row) or v.drift_cents
        ]
        width, channels = context.channels["in"], context.out_channels
        self._one: HarmonicShifter | None = None
        self._several: list[PeakShifter] = []
        if chosen.notes == "single":
            self._one = HarmonicShifter(lowest_hz, rate_hz, len(voices), width)
            self.latency_samples = float(self._one.latency_samples)
            self.tail_s = self._one.tail_s
        else:
            self._several = [PeakShifter(lowest_hz, rate_hz, len(voices)) for _ in range(width)]
            self.latency_samples = float(self._several[0].latency_samples)
            self.tail_s = self._several[0].tail_s
        gains = [db_to_gain(v.level_db) for v in voices]
        self._gains = np.ascontiguousarray(
            [g * place_gains(v.pan, channels) for g, v in zip(gains, voices, strict=True)]
        )
        self._loudest = max(gains)
        self._delays = np.array([round(ms_to_samples(v.delay_ms, rate_hz)) for v in voices], np.int64)
        self.tail_s += float(self._delays.max()) / rate_hz
        self._width = width
        self._ring = np.zeros((len(voices) * width, int(self._delays.max()) + 1))
        self._head = np.zeros(1, np.int64)
        self._z_ratio = np.zeros((len(voices), 2))
        self.reset()

    def reset(self) -> None:
        self._note.reset()
        if self._one is not None:
            self._one.reset()
        for shifter in self._several:
            shifter.reset()
        self._ring.fill(0.0)
        self._head.fill(0)
        self._z_ratio.fill(np.nan)

    def process(self, io: Io) -> None:
        count, frames = len(self._intervals), io.frames
        ratios = self._ratios(io)
        voices, rest = np.empty((count * self._width, frames)), np.zeros((self._width, frames))
        if self._one is not None:
            track = io.control["pitch"]
            self._one.process(io.x, track, ratios, self._fixed_hz, io.moving.formant, voices, rest)
        else:
            for c, shifter in enumerate(self._several):
                made = np.empty((count, frames))
                shifter.process(io.n0, io.x[c], ratios, io.moving.formant, made)
                voices[c :: self._width] = made
        mix_voices(
            voices,
            rest,
            self._gains,
            self._delays,
            self._loudest,
            io.moving.unpitched_db,
            io.moving.level_db,
            self._ring,
            self._head,
            io.y,
        )

    def _ratios(self, io: Io) -> Audio:
        """Rows (voices, frames) of frequency ratios, to the horn or to a voice's own pitch."""
        ratios = np.empty((len(self._intervals), io.frames))
        ratios[:] = self._steady_ratios
        if not self._moving:
            return ratios
        note, glide, wander = np.zeros(io.frames), np.full(io.frames, INTERVAL_GLIDE_MS), np.zeros(io.frames)
        if self._in_key:
            track = io.control["pitch"]
            self._note.process(track, note)
            if note.size and note[0] < 0.0:
                # There is no interval yet to go on with: that of the pitch as it is.
                note = np.where(note < 0.0, nearest_notes(track[F0_HZ], self._a4_hz), note)
        for k in self._moving:
            seed, cents = self._drifts[k]
            if cents > 0.0:
                drift(seed, io.n0, self._rate_hz, wander)
            interval_ratio(note, self._intervals[k], glide, wander, cents, self._rate_hz, self._z_ratio[k], ratios[k])
        return ratios


def nearest_notes(f0_hz: Array, a4_hz: float) -> Array:
    """Notes, 0 ... 127, nearest to pitches (frames,); 0 where none is known."""
    semitones = 69.0 + 12.0 * np.log2(np.maximum(f0_hz, 1.0) / a4_hz)
    return np.clip(np.floor(semitones + 0.5), 0.0, 127.0)
