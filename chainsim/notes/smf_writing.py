"""Notes of one horn as a Standard MIDI File.

Two tracks (format 1): tempo, and the part. The part states its bend range by registered parameter 0, then sends for
each note the pitch bend before the note-on, and breath (controller 2) as the level goes. The bend of a pitch p over a
note n, in 14 bits, with a range of r semitones:

    v = round(8192 + 8192 (p - n) / r),   0 ... 16383                           (1)

Source: MIDI 1.0 Detailed Specification; Standard MIDI Files 1.0 (RP-001).
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import mido
import numpy as np

from chainsim.errors import SettingError
from chainsim.music.pitch import pitch_name
from chainsim.notes.model import Note, NoteEvents
from chainsim.notes.tempo_map import TempoMap, tempo_map
from chainsim.units import Array

Timed: TypeAlias = tuple[int, Any]
"""A message with its absolute tick."""

BREATH_CONTROLLER = 2
TICKS_PER_QUARTER = 960
WIDEST_BEND_SEMITONES = 96.0
_BEND_CENTRE = 8192
_LAST_BEND = 16383

# Order of what falls on one tick: the old note ends before the new one's bend and level are sent, then it begins.
_OFF, _BEND, _BREATH, _ON = 0, 1, 2, 3


@dataclass(frozen=True)
class SmfLayout:
    """How notes are laid down in a file.

    Attributes
    ----------
    tempi : sequence of (seconds, beats per minute)
        The first at 0.
    bend_range_semitones : float
        Whole cents, more than 0 and up to 96 semitones.
    transpose_semitones : int
        Added to every note: minus the horn's transposition for written pitch.
    name : str
        Of the part's track.
    remark : str
        A text at its beginning.
    channel : int, 1 to 16
    """

    tempi: Sequence[tuple[float, float]] = ((0.0, 120.0),)
    bend_range_semitones: float = 12.0
    transpose_semitones: int = 0
    name: str = "horn"
    remark: str = ""
    channel: int = 1


def bend_value(offset_semitones: float, range_semitones: float) -> int:
    """14-bit pitch bend of an offset: equation (1)."""
    value = math.floor(_BEND_CENTRE + _BEND_CENTRE * offset_semitones / range_semitones + 0.5)
    return min(max(value, 0), _LAST_BEND)


def smf_bytes(events: NoteEvents, layout: SmfLayout = SmfLayout()) -> bytes:
    """Return the file's bytes.

    Raises
    ------
    SettingError
        If the bend range is not allowed, or transposing leads outside MIDI's 0 ... 127.
    """
    _check(events, layout)
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER)
    tempo = tempo_map(layout.tempi, TICKS_PER_QUARTER)
    changes = [(tick, mido.MetaMessage("set_tempo", tempo=microseconds)) for tick, microseconds in tempo.changes]
    file.tracks.append(_track(changes))
    channel = layout.channel - 1
    part: list[Timed] = [(0, mido.MetaMessage("track_name", name=_plain(layout.name)))]
    if layout.remark:
        part.append((0, mido.MetaMessage("text", text=_plain(layout.remark))))
    part += [(0, message) for message in _bend_range(channel, layout.bend_range_semitones)]
    part += _messages(events, layout, channel, tempo)
    file.tracks.append(_track(part))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _check(events: NoteEvents, layout: SmfLayout) -> None:
    cents = 100.0 * layout.bend_range_semitones
    if not (1.0 - 1e-6 <= cents <= 100.0 * WIDEST_BEND_SEMITONES and abs(cents - round(cents)) < 1e-6):
        raise SettingError(
            f"bend range = {layout.bend_range_semitones:g} semitones, allowed 0.01 ... {WIDEST_BEND_SEMITONES:g}"
            " in whole cents"
        )
    for note in events.notes:
        if not 0 <= note.midi + layout.transpose_semitones <= 127:
            raise SettingError(
                f"the note {pitch_name(note.midi)} at {note.begin_s:.2f} s would be written as MIDI note "
                f"{note.midi + layout.transpose_semitones}, allowed 0 ... 127"
            )


def _plain(text: str) -> str:
    """Texts in MIDI files are Latin-1."""
    return text.encode("latin-1", "replace").decode("latin-1")


def _bend_range(channel: int, semitones: float) -> list[mido.Message]:
    """Registered parameter 0, then the null parameter, so that later data entry changes nothing."""
    whole, cents = divmod(round(100.0 * semitones), 100)
    pairs = ((101, 0), (100, 0), (6, whole), (38, cents), (101, 127), (100, 127))
    return [_control(channel, number, value) for number, value in pairs]


def _messages(events: NoteEvents, layout: SmfLayout, channel: int, tempo: TempoMap) -> list[Timed]:
    """Everything the part plays, with its ticks, in order."""
    planned: list[tuple[int, int, mido.Message]] = []
    bend, breath, free = _BEND_CENTRE, 0, 0
    for k, note in enumerate(events.notes):
        midi = note.midi + layout.transpose_semitones
        begin = max(tempo.tick(note.begin_s), free)
        free = end = max(tempo.tick(note.end_s), begin + 1)
        for tick, pitch in _during(events.pitch, note, tempo, begin, end):
            value = bend_value(pitch - note.midi, layout.bend_range_semitones)
            if value != bend:
                bend = value
                planned.append((tick, _BEND, mido.Message("pitchwheel", channel=channel, pitch=value - _BEND_CENTRE)))
        levels = _during(events.breath, note, tempo, begin, end)
        goes_on = k + 1 < len(events.notes) and tempo.tick(events.notes[k + 1].begin_s) <= end
        for tick, level in levels if goes_on else [*levels, (end, 0.0)]:
            if int(level) != breath:
                breath = int(level)
                planned.append((tick, _BREATH, _control(channel, BREATH_CONTROLLER, breath)))
        planned.append((begin, _ON, mido.Message("note_on", channel=channel, note=midi, velocity=note.velocity)))
        planned.append((end, _OFF, mido.Message("note_off", channel=channel, note=midi, velocity=64)))
    planned.sort(key=lambda event: event[:2])
    return [(tick, message) for tick, _, message in planned]


def _control(channel: int, number: int, value: int) -> mido.Message:
    return mido.Message("control_change", channel=channel, control=number, value=value)


def _during(curve: Array, note: Note, tempo: TempoMap, begin: int, end: int) -> list[tuple[int, float]]:
    """Points of a curve while a note sounds, the last of each tick."""
    first, last = np.searchsorted(curve[:, 0], (note.begin_s - 1e-9, note.end_s - 1e-9))
    ticks = {min(max(tempo.tick(time_s), begin), end - 1): value for time_s, value in curve[first:last].tolist()}
    return list(ticks.items())


def _track(timed: Sequence[Timed]) -> mido.MidiTrack:
    """Messages with absolute ticks as a track with the ticks between them."""
    track, now = mido.MidiTrack(), 0
    for tick, message in timed:
        message.time = tick - now
        track.append(message)
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track
