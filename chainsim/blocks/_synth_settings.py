"""Settings of the following synth: its voices, its slow movements, and where its pitch comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from pydantic import Field, field_validator

from chainsim.blocks._voices import PlacedVoice
from chainsim.dsp.note_events import DROPOUT_S, SEND_S
from chainsim.lfo_rate import LfoRate
from chainsim.settings import Settings, choice, fixed, level, movable, whole, words

TRACKED = ("track", "tracked_midi")
"""Sources that are heard from the horn itself; any other is a MIDI file."""

MOST_VOICES, MOST_LFOS = 6, 2

SILENCE_KNOWN_S = 0.06
"""In which a pitch tracker surely knows that the horn has stopped: two periods of the lowest horns and its window."""


class PitchSource(Settings):
    """Where the pitch that a block follows comes from."""

    source: str = words("track", '"track", "tracked_midi" (the track as MIDI notes), or a MIDI file beside the sketch')
    converter_latency_ms: float = fixed(0.0, 0.0, 500.0, "ms", "how much later the MIDI of tracked_midi comes")
    midi_channel: int = whole(0, 0, 16, "channel of a MIDI file, 1 to 16; 0 is the one that has notes")

    @field_validator("source")
    @classmethod
    def _is_a_source(cls, source: str) -> str:
        if source not in TRACKED and not source.lower().endswith((".mid", ".midi")):
            raise ValueError(f'= "{source}", allowed "track", "tracked_midi" or the name of a .mid file')
        return source

    def idle(self) -> Mapping[str, str]:
        uses = {"converter_latency_ms": self.source == "tracked_midi", "listens_to": self.source in TRACKED}
        uses["midi_channel"] = self.source not in TRACKED
        return {name: f'beside source = "{self.source}"' for name, used in uses.items() if not used}

    @property
    def late_s(self) -> float:
        """How much later than the horn what a converter sends of it may end: it waits before it ends a note."""
        if self.source != "tracked_midi":
            return 0.0
        return self.converter_latency_ms / 1000.0 + DROPOUT_S + SEND_S + SILENCE_KNOWN_S


class Voice(PlacedVoice):
    waveform: Literal["saw", "pulse", "triangle", "sine", "noise"] = choice("saw", "its tone before the filter")
    width: float = fixed(0.5, 0.05, 0.95, "1", "share of the period that a pulse is up; 0.5 is hollow")
    unison: int = whole(1, 1, 7, "how many of it play together, detuned")
    spread: float = fixed(0.0, 0.0, 1.0, "1", "how far these stand apart between left and right")


class Lfo(LfoRate):
    pitch_cents: float = fixed(0.0, 0.0, 2400.0, "cents", "how far it moves the pitch to either side")
    cutoff_octaves: float = fixed(0.0, 0.0, 6.0, "1", "how far it moves the cutoff to either side, in octaves")
    width: float = fixed(0.0, 0.0, 0.45, "1", "how far it moves the width of pulses to either side")
    level_db: float = fixed(0.0, 0.0, 24.0, "dB", "how far it moves the level to either side")


class FollowingSynthSettings(PitchSource):
    voices: list[Voice] = Field(
        [], description="the voices, up to 6; none given stands for one saw", json_schema_extra={"unit": "1"}
    )
    detune_cents: float = movable(12.0, 0.0, 100.0, "cents", "how far the outermost of a unison are out of tune")
    glide_ms: float = movable(0.0, 0.0, 5000.0, "ms", "time to 1 - 1/e of the way from note to note; 0 is none")
    snap_rate: float = movable(
        0.0, 0.0, 20_000.0, "cents/s", "how fast a note is drawn to tempered pitch; 0 leaves the horn's own"
    )
    snap_to: Literal["chromatic", "key"] = choice("chromatic", "notes it may be drawn to: all, or those of the key")
    when_unsure: Literal["hold", "fade", "mute"] = choice(
        "hold", "while a note goes on but its pitch is unsure: keep the last one, fade out, or stop"
    )
    fade_ms: float = fixed(80.0, 5.0, 5000.0, "ms", "how long a fade takes")
    amplitude: Literal["horn", "envelope"] = choice("horn", "what shapes a note: the horn's own level, or an envelope")
    attack_ms: float = fixed(8.0, 1.0, 5000.0, "ms", "time from the beginning of a note to its top")
    decay_ms: float = fixed(300.0, 1.0, 10_000.0, "ms", "time to 1 - 1/e of the way from the top to the sustain")
    sustain_db: float = fixed(-3.0, -60.0, 0.0, "dB", "level a held note comes to, relative to its top")
    release_ms: float = fixed(80.0, 1.0, 10_000.0, "ms", "time to 1 - 1/e of the way to silence after a note")
    drive_db: float = level(-math.inf, -24.0, 48.0, "gain into a soft saturation before the filter; off is clean")
    cutoff_hz: float = movable(3000.0, 20.0, 20_000.0, "Hz", "where the low pass begins")
    q: float = movable(0.8, 0.5, 30.0, "1", "sharpness of its resonance", law="log")
    cutoff_follows_pitch: float = movable(0.5, 0.0, 1.0, "1", "how much of the pitch's way from middle C it goes along")
    horn_octaves: float = movable(0.0, -6.0, 6.0, "1", "octaves it moves from a horn at -60 dB to one at full scale")
    envelope_octaves: float = movable(0.0, -8.0, 8.0, "1", "octaves it moves from its envelope's rest to its top")
    filter_attack_ms: float = fixed(5.0, 1.0, 5000.0, "ms", "time from the beginning of a note to that top")
    filter_decay_ms: float = fixed(250.0, 1.0, 10_000.0, "ms", "time to 1 - 1/e of the way from there to its sustain")
    filter_sustain: float = fixed(0.3, 0.0, 1.0, "1", "where a held note comes to; 1 is the top")
    filter_release_ms: float = fixed(150.0, 1.0, 10_000.0, "ms", "time to 1 - 1/e of the way back after a note")
    lfos: list[Lfo] = Field([], description="slow movements, up to 2", json_schema_extra={"unit": "1"})
    lfo_1_depth: float = movable(1.0, 0.0, 1.0, "1", "how much of the first one's movement is heard")
    lfo_2_depth: float = movable(1.0, 0.0, 1.0, "1", "how much of the second one's")
    level_db: float = level(0.0, -96.0, 24.0, "level of what comes out; at 0 about as loud as the horn")

    @field_validator("voices")
    @classmethod
    def _few_voices(cls, voices: list[Voice]) -> list[Voice]:
        if len(voices) > MOST_VOICES:
            raise ValueError(f"= {len(voices)} voices, allowed up to {MOST_VOICES}")
        return voices

    @field_validator("lfos")
    @classmethod
    def _few_lfos(cls, lfos: list[Lfo]) -> list[Lfo]:
        if len(lfos) > MOST_LFOS:
            raise ValueError(f"= {len(lfos)} LFOs, allowed up to {MOST_LFOS}")
        return lfos
