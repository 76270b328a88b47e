"""A converter beside the horn: its pitch track turned into MIDI notes, bend and breath, and these into rows again.

What a synthesizer behind such a converter hears: notes only when they are known, pitch in the steps of a 14-bit bend
over a range of r semitones, level in the steps of breath (controller 2), all at a limited rate, and later by the
converter's own latency:

    v = floor(8192 + 8192 (p - n) / r + 1/2),   0 ... 16383                     (1)
    f0 = a4 2^((n + r (v - 8192) / 8192 - 69) / 12)                             (2)
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.dsp import note_rows
from chainsim.dsp.midi_levels import level_of_seven_bit
from chainsim.dsp.note_events import NoteFinder, NoteRules
from chainsim.dsp.note_rows import BREATH, NOTE, ON_AGE_S, PITCH
from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, ROWS, SILENT_DB, VOICED
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed
from chainsim.units import Array, Counts, ms_to_samples


class TrackedMidiSettings(Settings):
    latency_ms: float = fixed(5.0, 0.0, 500.0, "ms", "what the converter and its cable take, beside finding the note")


@kernel
def heard_from_midi(
    sent: Array,
    a4_hz: float,
    range_st: float,
    levels_db: Array,
    latency_s: float,
    newest: Array,
    ring: Array,
    head: Counts,
    y: Array,
) -> None:
    """Fill y (5, frames) with what is heard of `sent`, the rows of `find_notes`, a ring's length later.

    newest: note, pitch and f0 last computed; ring (5, latency in samples or 1) and head (1,) are the delay's state.
    """
    length = ring.shape[1]
    for i in range(y.shape[1]):
        note, pitch = sent[NOTE, i], sent[PITCH, i]
        if note >= 0.0 and (note != newest[0] or pitch != newest[1]):
            newest[0], newest[1] = note, pitch
            bend = math.floor(8192.0 + 8192.0 * (pitch - note) / range_st + 0.5)
            bend = min(max(bend, 0), 16383)
            newest[2] = a4_hz * 2.0 ** ((note + range_st * (bend - 8192) / 8192.0 - 69.0) / 12.0)
        j = head[0]
        if latency_s > 0.0:
            for r in range(y.shape[0]):
                y[r, i] = ring[r, j]
        sounds = 1.0 if note >= 0.0 else 0.0
        ring[F0_HZ, j], ring[VOICED, j], ring[CONFIDENCE, j] = newest[2], sounds, sounds
        ring[LEVEL_DB, j] = levels_db[int(sent[BREATH, i])] if note >= 0.0 else SILENT_DB
        ring[ONSET_AGE_S, j] = sent[ON_AGE_S, i] + latency_s if sent[ON_AGE_S, i] > 0.0 else 0.0
        if latency_s == 0.0:
            for r in range(y.shape[0]):
                y[r, i] = ring[r, j]
        head[0] = j + 1 if j + 1 < length else 0


class TrackedMidi(Block[TrackedMidiSettings]):
    """The rows of a pitch track, after a pitch-to-MIDI converter."""

    type_name = "tracked_midi"
    settings_type = TrackedMidiSettings
    audio_inputs = ()
    control_inputs = ("pitch",)
    rows = ROWS
    source = "MIDI 1.0 Detailed Specification"

    def prepare(self, context: Context) -> None:
        rate_hz = context.sample_rate_hz
        self._a4_hz = float(context.a4_hz)
        self._rules = NoteRules(self._a4_hz)
        self._finder = NoteFinder(self._rules, rate_hz)
        latency = round(ms_to_samples(self.settings.latency_ms, rate_hz))
        self._latency_s = latency / rate_hz
        self._levels_db = np.array([level_of_seven_bit(v) for v in range(128)])
        self._newest = np.zeros(3)
        self._ring = np.zeros((len(ROWS), max(latency, 1)))
        self._head = np.zeros(1, np.int64)
        self.age_samples = float(latency)
        self.response_s = self._latency_s + self._rules.settle_ms / 1000.0
        self.reset()

    def reset(self) -> None:
        self._finder.reset()
        self._newest[:] = -1.0, 0.0, 0.0
        self._ring.fill(0.0)
        self._ring[LEVEL_DB] = SILENT_DB
        self._head[0] = 0

    def process(self, io: Io) -> None:
        sent = np.empty((note_rows.ROWS, io.frames))
        self._finder.process(io.control["pitch"], sent)
        heard_from_midi(
            sent,
            self._a4_hz,
            self._rules.bend_range_semitones,
            self._levels_db,
            self._latency_s,
            self._newest,
            self._ring,
            self._head,
            io.y,
        )
