"""A Standard MIDI File as the part of one horn: notes, bend (its range by registered parameter 0), breath, tempo map.

The part is of one voice: the note that began last sounds; when it ends, one that is still held goes on in its place.

Source: MIDI 1.0 Detailed Specification; Standard MIDI Files 1.0 (RP-001); response to reset all controllers (RP-015).
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import mido
import numpy as np

from chainsim.errors import SettingError
from chainsim.notes.model import Note, NoteEvents
from chainsim.notes.tempo_map import TempoMap
from chainsim.units import Array

MOST_BYTES = 4_000_000
"""What a tracked horn sends in an hour and a half, at 720 bytes a second; read, it takes about 200 times the memory."""
LONGEST_S = 86_400.0
DEFAULT_BEND_SEMITONES = 2.0
"""Where a file says nothing (MIDI 1.0)."""

_LONG_RUN = re.compile(rb"[\x80-\xff]{1024}")
"""In a number it would keep the parser busy for hours; in a text it is allowed."""
LONGEST_NUMBER = 4
_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}

_BANK_OF_DATA = {6: 100.0, 38: 1.0}
"""Cents of bend range that one step of data entry stands for."""
_BREATH, _ALL_OFF, _RESET_ALL = 2, (120, 123), 121


def read_smf(path: str | Path, channel: int = 0) -> NoteEvents:
    """Read the part that one channel plays.

    Parameters
    ----------
    path : path
    channel : int
        1 to 16; 0 for the one channel that has notes.

    Returns
    -------
    NoteEvents
        Its pitch on the scale of MIDI notes, bend included; breath is empty where the file has none.

    Raises
    ------
    SettingError
        If the file cannot be read, is no MIDI file, is damaged or too large, or holds no notes there; if notes stand
        on several channels and none is chosen.
    """
    path = Path(path)
    file = _parsed(path)
    timed, tempo = _merged(file, path)
    chosen = _channel(timed, channel, path)
    part = _Part()
    for tick, message in timed:
        if getattr(message, "channel", None) == chosen:
            part.hear(tempo.seconds(tick), message)
    return part.finished(tempo.seconds(timed[-1][0]))


def _parsed(path: Path) -> mido.MidiFile:
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise SettingError(f"{path}: cannot be read: {error.strerror or error}") from error
    if len(content) > MOST_BYTES:
        raise SettingError(f"{path}: over {MOST_BYTES / 1e6:g} MB, too large for the MIDI part of one horn")
    if not content.startswith(b"MThd"):
        raise SettingError(f"{path}: {'is empty (0 bytes)' if not content else 'not a Standard MIDI File'}")
    if _LONG_RUN.search(content) and _has_endless_number(content):
        raise SettingError(f"{path}: is damaged: a number without end")
    try:
        file = mido.MidiFile(file=io.BytesIO(content))
    except Exception as error:  # whatever the parser stumbles over in a damaged file
        reason = "it ends too early" if isinstance(error, EOFError) else str(error) or type(error).__name__
        raise SettingError(f"{path}: is damaged: {reason}".splitlines()[0]) from error
    if file.type not in (0, 1):
        raise SettingError(f"{path}: format {file.type}, allowed 0 and 1 (tracks that play together)")
    if file.ticks_per_beat <= 0:
        raise SettingError(f"{path}: counts frames of film or nothing, allowed ticks a quarter note")
    return file


def _has_endless_number(content: bytes) -> bool:
    """Whether a time or length is longer than MIDI allows, or may be, because the events do not fit their track."""
    track = 8 + int.from_bytes(content[4:8], "big")
    while track + 8 <= len(content):
        at, end = track + 8, track + 8 + int.from_bytes(content[track + 4 : track + 8], "big")
        running = 0
        while 0 <= at < min(end, len(content)):
            at, running = _after_event(content, at, running)
        if at < 0 or at > end:
            return True
        track = end
    return False


def _after_event(content: bytes, at: int, running: int) -> tuple[int, int]:
    """Where the next event begins, -1 if that cannot be told, and its running status."""
    _, at = _number(content, at)
    if not 0 <= at < len(content):
        return at, running
    status = content[at]
    if status in (0xF0, 0xF7, 0xFF):
        length, at = _number(content, at + 2 if status == 0xFF else at + 1)
        return (at + length if at >= 0 else -1), (running if status == 0xFF else 0)
    if status >= 0x80:
        running, at = status, at + 1
    return (at + _DATA_BYTES[running >> 4] if running >> 4 in _DATA_BYTES else -1), running


def _number(content: bytes, at: int) -> tuple[int, int]:
    """A number of variable length, and where what follows it begins; -1 for a number without end."""
    value = 0
    for k in range(at, at + LONGEST_NUMBER):
        byte = content[k] if k < len(content) else 0
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, k + 1
    return 0, -1


def _merged(file: mido.MidiFile, path: Path) -> tuple[list[tuple[int, Any]], TempoMap]:
    """All messages of all tracks with their ticks, in order, and the tempo map."""
    timed, tick = [(0, mido.MetaMessage("end_of_track"))], 0
    for message in mido.merge_tracks(file.tracks):
        tick += message.time
        timed.append((tick, message))
    tempo = TempoMap([(t, max(m.tempo, 1)) for t, m in timed if m.type == "set_tempo"], file.ticks_per_beat)
    if tick > 1 << 40 or tempo.seconds(tick) > LONGEST_S:
        raise SettingError(f"{path}: is damaged or lasts longer than a day")
    return timed, tempo


def _channel(timed: Iterable[tuple[int, Any]], channel: int, path: Path) -> int:
    """The channel to read, counted from 0."""
    playing = sorted({m.channel for _, m in timed if m.type == "note_on" and m.velocity > 0})
    if not playing:
        raise SettingError(f"{path}: holds no notes")
    names = ", ".join(str(c + 1) for c in playing)
    if channel == 0:
        if len(playing) > 1:
            raise SettingError(f"{path}: notes on channels {names}; choose one with midi_channel")
        return int(playing[0])
    if channel - 1 not in playing:
        raise SettingError(f"{path}: no notes on channel {channel}, but on {names}")
    return channel - 1


@dataclass
class _Part:
    """Listens to the messages of one channel and keeps what one voice makes of them."""

    held: list[tuple[int, int]] = field(default_factory=list)
    """(note, velocity), the newest last."""
    begun_s: float = 0.0
    bend: float = 0.0
    """-1 ... 1."""
    range_cents: dict[int, float] = field(default_factory=lambda: {6: 100.0 * DEFAULT_BEND_SEMITONES, 38: 0.0})
    parameter: list[int] = field(default_factory=lambda: [127, 127])
    """Registered parameter chosen, high and low byte."""
    notes: list[Note] = field(default_factory=list)
    pitch: list[tuple[float, float]] = field(default_factory=list)
    breath: list[tuple[float, float]] = field(default_factory=list)

    def hear(self, time_s: float, message: Any) -> None:
        """Take one message."""
        if message.type == "note_on" and message.velocity > 0:
            self._sound([*(h for h in self.held if h[0] != message.note), (message.note, message.velocity)], time_s)
        elif message.type in ("note_on", "note_off"):
            if any(h[0] == message.note for h in self.held):
                self._sound([h for h in self.held if h[0] != message.note], time_s)
        elif message.type == "pitchwheel":
            self.bend = message.pitch / 8192.0
            self._bent(time_s)
        elif message.type == "control_change":
            self._control(time_s, message.control, message.value)

    def _sound(self, held: list[tuple[int, int]], time_s: float) -> None:
        """Go on with these notes held; the last one sounds."""
        before, now = self.held[-1:], held[-1:]
        again = len(held) >= len(self.held) and bool(held)
        self.held = held
        if before == now and not again:
            return
        if before and time_s > self.begun_s:
            self.notes.append(Note(self.begun_s, time_s, *before[0]))
        self.begun_s = time_s
        self._bent(time_s)

    def _bent(self, time_s: float) -> None:
        if self.held:
            semitones = self.bend * sum(self.range_cents.values()) / 100.0
            self.pitch.append((time_s, self.held[-1][0] + semitones))

    def _control(self, time_s: float, number: int, value: int) -> None:
        if number == _BREATH:
            self.breath.append((time_s, float(value)))
        elif number in _ALL_OFF and self.held:
            self._sound([], time_s)
        elif number == _RESET_ALL:
            # It leaves the bend range as it is, but no parameter chosen (RP-015).
            self.bend, self.parameter = 0.0, [127, 127]
            self._bent(time_s)
        elif number in (100, 101):
            self.parameter[101 - number] = value
        elif number in (98, 99):  # a parameter that is not registered
            self.parameter = [127, 127]
        elif number in _BANK_OF_DATA and self.parameter == [0, 0]:
            self.range_cents[number] = value * _BANK_OF_DATA[number]
            self._bent(time_s)

    def finished(self, end_s: float) -> NoteEvents:
        """What was played until the file's end."""
        if self.held:
            self._sound([], end_s)
        return NoteEvents(tuple(self.notes), _curve(self.pitch), _curve(self.breath))


def _curve(points: list[tuple[float, float]]) -> Array:
    """Points by time; of several at one time the last counts."""
    return np.array(list(dict(points).items()), dtype=np.float64).reshape(-1, 2)
