"""Following synth: oscillators that play along with the horn's pitch, through drive, filter and amplifier.

    voices (chainsim.dsp.oscillator) -> drive (chainsim.dsp.synth_drive) -> low pass (chainsim.dsp.svf)
        -> amplifier                                                                                           (1)

The pitch is followed while it is known (chainsim.dsp.pitch_following), notes begin and end with it
(chainsim.dsp.note_gate), and the amplifier follows the horn's own level or an envelope. What comes out is the voices
alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.block import Block, Context, Io, Moving, register, seed_of
from chainsim.blocks._synth_settings import FollowingSynthSettings, Lfo, Voice
from chainsim.blocks._voices import intervals_of
from chainsim.dsp import synth_drive
from chainsim.dsp.adsr import adsr, adsr_coefficients
from chainsim.dsp.envelope import TWO_POLES, two_pole_coefficient
from chainsim.dsp.lfo import SHAPES, lfo
from chainsim.dsp.note_gate import follow_notes, ramp_towards
from chainsim.dsp.pitch_following import follow_pitch, pitch_to_hz, smoothing
from chainsim.dsp.svf import TOP, svf_coefficients, svf_sweep
from chainsim.dsp.synth_oscillators import VoiceOscillators, unison_gains, unison_places
from chainsim.dsp.synth_voice import (
    LEVEL_SMOOTHING_MS,
    add_moving,
    cutoff_octaves,
    horn_amplitude,
    loudness_share,
    track_amplitude,
    voice_amplifier,
)
from chainsim.errors import SettingError
from chainsim.music.note_value import parse_note_value
from chainsim.music.pitch import parse_pitch
from chainsim.music.scale import Key, parse_key
from chainsim.units import Array, Audio, db_to_gain

ENVELOPE_RMS_DB = -20.0
"""Level of a voice that follows an envelope rather than the horn."""

POWER_NEPERS = 24.0
"""Of two equal one-poles down by 90 dB in amplitude: (1 + u) exp(-u) = 1e-9."""

OPENING_MS = 3.0
CLOSING_MS = 20.0
CUTTING_MS = 6.0
"""When an attack comes whose pitch isn't known, and for "mute"."""

FLOOR_DB, SLOPE_DB = 90.0, 12.0
"""A tail ends so far under the top; for every octave that the filter opens after a note, so much louder is the rest."""

FILTER_RINGS_S = 0.006
"""How much longer than a short release the filter behind it may be heard."""


@register("following_synth")
class FollowingSynth(Block[FollowingSynthSettings]):
    """Plays synthesizer voices along with the horn: at its pitch, at intervals to it, or on a pedal tone."""

    has_detector = True
    control_inputs = ("pitch", "tempo")
    generates = True
    reads_files = True
    source = "band-limited tables read by splines; A. Simper, linear trapezoidal state variable filter"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2 if is_wide(settings) else channels["in"]

    @classmethod
    def follows_key(cls, settings: Any) -> bool:
        return settings.snap_to == "key" or any(v.in_key for v in settings.voices)

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        self._rate_hz, self._a4_hz = rate_hz, float(context.a4_hz)
        key = parse_key(context.key) if context.key is not None else None
        self._scale = scale_of(chosen, key)
        seed = seed_of(self.type_name, "", chosen)
        channels = 2 if is_wide(chosen) else 1
        self._channels = channels
        self._pedals = [None if v.pitch is None else float(parse_pitch(v.pitch)) for v in chosen.voices or [Voice()]]
        self._voices = [
            VoiceOscillators(
                voice.waveform,
                voice.width,
                intervals_of(f"voices[{k}]", voice.interval, key) + 0.01 * voice.cents,
                unison_places(voice.unison),
                unison_gains(
                    voice.waveform, db_to_gain(voice.level_db), voice.pan, voice.spread, voice.unison, channels
                ),
                seed + 1000 * (k + 1),
                rate_hz,
            )
            for k, voice in enumerate(chosen.voices or [Voice()])
        ]
        self._lfos = [lfo_rate(one, rate_hz) for one in chosen.lfos]
        self._seed = seed
        self._smooth = smoothing(rate_hz)
        self._even = two_pole_coefficient(LEVEL_SMOOTHING_MS, rate_hz)
        self._hold = int(chosen.when_unsure == "hold")
        closing_ms = {"hold": CLOSING_MS, "fade": chosen.fade_ms, "mute": CUTTING_MS}[chosen.when_unsure]
        self._ramps = tuple(1000.0 / (ms * rate_hz) for ms in (OPENING_MS, closing_ms, CUTTING_MS))
        sustain = db_to_gain(chosen.sustain_db)
        self._shape = adsr_coefficients(chosen.attack_ms, chosen.decay_ms, sustain, chosen.release_ms, rate_hz)
        self._sweep = adsr_coefficients(
            chosen.filter_attack_ms, chosen.filter_decay_ms, chosen.filter_sustain, chosen.filter_release_ms, rate_hz
        )
        self._swept, self._by_loudness = (
            context.extremes[name] != (0.0, 0.0) for name in ("envelope_octaves", "horn_octaves")
        )
        self._driven = context.extremes["drive_db"][1] > -math.inf
        self.latency_samples = synth_drive.DELAY_SAMPLES if self._driven else 0.0
        if chosen.amplitude == "horn":
            self.tail_s = min(closing_ms, POWER_NEPERS / TWO_POLES * LEVEL_SMOOTHING_MS) / 1000.0
        else:
            opens = sum(max(-context.extremes[name][0], 0.0) for name in ("horn_octaves", "envelope_octaves"))
            falls_db = FLOOR_DB + SLOPE_DB * opens
            self.tail_s = chosen.release_ms / 1000.0 * math.log(10.0) * falls_db / 20.0 + FILTER_RINGS_S
        self.tail_s += chosen.late_s
        self._z_notes, self._z_pitch, self._z_gate = np.zeros(4), np.zeros(8), np.zeros(1)
        self._z_level, self._z_loud, self._z_shape, self._z_sweep = np.zeros((4, 2))
        self._z_drive, self._z_filter = np.zeros((channels, synth_drive.STATES)), np.zeros((channels, 2))
        self.reset()

    def reset(self) -> None:
        for state in (self._z_notes, self._z_pitch, self._z_gate, self._z_level, self._z_loud):
            state.fill(0.0)
        for state in (self._z_shape, self._z_sweep, self._z_drive, self._z_filter):
            state.fill(0.0)
        self._z_pitch[-1] = 1.0
        for voice in self._voices:
            voice.reset()

    def process(self, io: Io) -> None:
        moving, track, tempo, frames = io.moving, io.control["pitch"], io.control["tempo"], io.frames
        start, sounding, opened, pitch, note, hz = np.empty((6, frames))
        follow_notes(track, self._hold, self._rate_hz, self._z_notes, start, sounding, opened)
        follow_pitch(
            track,
            start,
            moving.glide_ms,
            moving.snap_rate,
            self._scale,
            self._smooth,
            self._a4_hz,
            self._rate_hz,
            self._z_pitch,
            pitch,
            note,
        )
        bend, octaves, widening, swell_db = self._slow_movements(io.n0, tempo, (moving.lfo_1_depth, moving.lfo_2_depth))
        pitch_to_hz(pitch, bend, self._a4_hz, hz)
        sound = io.y if io.y.shape[0] == self._channels else np.empty((self._channels, frames))
        sound.fill(0.0)
        for voice, pedal in zip(self._voices, self._pedals, strict=True):
            if pedal is None:
                voice.add_to(io.n0, hz, note, moving.glide_ms, moving.detune_cents, widening, sound)
            else:
                held, held_hz = np.full(frames, pedal), np.empty(frames)
                pitch_to_hz(held, bend, self._a4_hz, held_hz)
                voice.add_to(io.n0, held_hz, held, moving.glide_ms, moving.detune_cents, widening, sound)
        if self._driven:
            synth_drive.drive_up_and_down(moving.drive_db, synth_drive.NEAR, synth_drive.FAR, self._z_drive, sound)
        sound = self._filtered(sound, moving, track, start, sounding, pitch, octaves)
        amplitude, gate = self._amplitude(io, track, start, sounding, opened)
        voice_amplifier(amplitude, gate, moving.level_db, swell_db, 1.0, sound)
        np.copyto(io.y, sound)

    def _slow_movements(self, n0: int, tempo: Array, depths: tuple[Array, ...]) -> Array:
        """Rows of what the LFOs add: semitones, octaves of cutoff, width, dB."""
        rows = np.zeros((4, tempo.shape[1]))
        wave = np.empty(tempo.shape[1])
        for k, (one, (per_sample, per_beat)) in enumerate(zip(self.settings.lfos, self._lfos, strict=True)):
            lfo(n0, tempo, per_sample, per_beat, self._rate_hz, SHAPES.index(one.shape), self._seed + k, wave)
            reach = (0.01 * one.pitch_cents, one.cutoff_octaves, one.width, one.level_db)
            for row, depth in zip(rows, reach, strict=True):
                if depth != 0.0:
                    add_moving(depth, depths[k], wave, row)
        return rows

    def _filtered(
        self, sound: Audio, moving: Moving, track: Array, start: Array, sounding: Array, pitch: Array, octaves: Array
    ) -> Audio:
        frames = sound.shape[1]
        sweep, loud, cutoff_hz = np.zeros((3, frames))
        if self._swept:
            adsr(start, sounding, self._sweep, self._z_sweep, sweep)
        if self._by_loudness:
            loudness_share(track, self._even, self._z_loud, loud)
        cutoff_octaves(
            moving.cutoff_hz,
            moving.envelope_octaves,
            sweep,
            moving.horn_octaves,
            loud,
            moving.cutoff_follows_pitch,
            pitch,
            octaves,
            TOP * self._rate_hz,
            cutoff_hz,
        )
        a, y = np.empty((3, frames)), np.empty_like(sound)
        svf_coefficients(cutoff_hz, moving.q, self._rate_hz, a)
        svf_sweep(sound, a, moving.q, 0, 1, self._z_filter, y)
        return y

    def _amplitude(self, io: Io, track: Array, start: Array, sounding: Array, opened: Array) -> tuple[Array, Array]:
        """Rows of the amplifier: amplitude, and the ramps over what is unsure."""
        amplitude, gate = np.empty((2, io.frames))
        if self.settings.amplitude == "envelope":
            adsr(start, sounding, self._shape, self._z_shape, amplitude)
            amplitude *= db_to_gain(ENVELOPE_RMS_DB)
            # After a note its release is heard; only doubt within one closes the gate.
            opened = np.where(sounding == 0.0, 1.0, opened)
        elif self.settings.source == "track":
            horn_amplitude(io.detector, self._even, self._z_level, amplitude)
        else:
            track_amplitude(track, self._even, self._z_level, amplitude)
        ramp_towards(opened, *self._ramps, self._z_gate, gate)
        return amplitude, gate


def is_wide(settings: FollowingSynthSettings) -> bool:
    """Whether its voices stand in different places, so that it takes two channels."""
    return any(v.pan != 0.0 or (v.spread > 0.0 and v.unison > 1) for v in settings.voices)


def scale_of(settings: FollowingSynthSettings, key: Key | None) -> npt.NDArray[np.int64]:
    """For each note, 0 ... 127, the one to snap to; of two as near the lower.

    Raises
    ------
    SettingError
        If it is to be one of the key and there is none.
    """
    if settings.snap_to == "chromatic":
        return np.arange(128)
    if key is None:
        raise SettingError('snap_to = "key", but the sketch has no key; allowed with one, or "chromatic"')
    inside = [note for note in range(-12, 140) if key.contains(note)]
    return np.array([min(inside, key=lambda n: (abs(n - note), n)) for note in range(128)], dtype=np.int64)


def lfo_rate(one: Lfo, sample_rate_hz: float) -> tuple[float, float]:
    """Turns per sample and per beat; one of them is 0."""
    if one.note is None:
        return one.rate_hz / sample_rate_hz, 0.0
    return 0.0, 1.0 / parse_note_value(one.note).beats
