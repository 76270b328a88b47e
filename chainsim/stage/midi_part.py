"""A MIDI file in place of a tracked horn: its notes, bend and breath as the rows of a pitch track.

Times are seconds from the file's start by its own tempo map. One voice: the newest note sounds. Every note-on is an
onset, known at once. The level is that of breath (controller 2) where the file has it, or else of the note's velocity:

    level_db = -9 + 40 log10(v / 127)                                  (1)
"""

from __future__ import annotations

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.dsp.midi_levels import level_of_seven_bit
from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, ROWS, SILENT_DB, VOICED
from chainsim.errors import SettingError
from chainsim.kernel import kernel
from chainsim.notes.model import NoteEvents
from chainsim.notes.smf_reading import read_smf
from chainsim.settings import Settings, whole, words
from chainsim.units import Array, Counts


class MidiPartSettings(Settings):
    file: str = words("", "the MIDI file, in the sketch's own folder")
    channel: int = whole(0, 0, 16, "MIDI channel, 1 to 16; 0 is the one channel that has notes")


@kernel
def held_rows(
    n0: int, start: Counts, values: Array, onsets: Counts, first: int, onset: int, sample_s: float, y: Array
) -> None:
    """Fill y (5, frames) from n0 on.

    From sample start[k] on, rows 0 to 3 hold values[:, k]; first is the k that holds at n0, onset the next of `onsets`.
    """
    k, o = first, onset
    for i in range(y.shape[1]):
        n = n0 + i
        while k + 1 < start.shape[0] and n >= start[k + 1]:
            k += 1
        for r in range(values.shape[0]):
            y[r, i] = values[r, k]
        y[ONSET_AGE_S, i] = 0.0
        if o < onsets.shape[0] and n == onsets[o]:
            y[ONSET_AGE_S, i] = sample_s
            o += 1


class MidiPart(Block[MidiPartSettings]):
    """The rows of a pitch track, read from a MIDI file."""

    type_name = "midi_part"
    settings_type = MidiPartSettings
    audio_inputs = ()
    rows = ROWS
    reads_files = True
    source = "MIDI 1.0 Detailed Specification; Standard MIDI Files 1.0 (RP-001)"

    def prepare(self, context: Context) -> None:
        chosen = self.settings
        if not chosen.file:
            raise SettingError("file: a MIDI part needs one, in the sketch's own folder")
        events = read_smf(context.assets.path(chosen.file), chosen.channel)
        rate_hz = context.sample_rate_hz
        self._sample_s = 1.0 / rate_hz
        self._start, self._values = _held(events, context.a4_hz, rate_hz)
        self._onsets = np.unique(_samples(np.array([n.begin_s for n in events.notes]), rate_hz))

    def process(self, io: Io) -> None:
        first = int(np.searchsorted(self._start, io.n0, "right")) - 1
        onset = int(np.searchsorted(self._onsets, io.n0))
        held_rows(io.n0, self._start, self._values, self._onsets, first, onset, self._sample_s, io.y)


def _samples(time_s: Array, rate_hz: float) -> Counts:
    """First sample at or after each time."""
    return np.ceil(time_s * rate_hz - 1e-6).astype(np.int64)


def _held(events: NoteEvents, a4_hz: float, rate_hz: float) -> tuple[Counts, Array]:
    """Samples from which something holds, and what: shape (4, samples)."""
    begins = _samples(np.array([n.begin_s for n in events.notes]), rate_hz)
    ends = _samples(np.array([n.end_s for n in events.notes]), rate_hz)
    pitch_at, breath_at = (_samples(curve[:, 0], rate_hz) for curve in (events.pitch, events.breath))
    start = np.unique(np.concatenate([np.zeros(1, np.int64), begins, ends, pitch_at, breath_at]))
    values = np.zeros((len(ROWS) - 1, start.size))
    point = np.searchsorted(pitch_at, start, "right") - 1
    known = point >= 0
    values[F0_HZ, known] = a4_hz * 2.0 ** ((events.pitch[point[known], 1] - 69.0) / 12.0)
    note = np.searchsorted(begins, start, "right") - 1
    sounds = (note >= 0) & (start < ends[note])
    values[VOICED] = values[CONFIDENCE] = sounds
    levels_db = np.array([level_of_seven_bit(v) for v in range(128)])
    if breath_at.size:
        blown = np.searchsorted(breath_at, start, "right") - 1
        said_db = np.where(blown >= 0, levels_db[events.breath[np.maximum(blown, 0), 1].astype(np.int64)], SILENT_DB)
    else:
        said_db = levels_db[np.array([n.velocity for n in events.notes])[note]]
    values[LEVEL_DB] = np.where(sounds, said_db, SILENT_DB)
    return start, values
