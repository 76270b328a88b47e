"""A Standard MIDI File as the part of one horn: notes, bend (its range by registered parameter 0), breath, tempo map.

The part is of one voice: the note that began last sounds; when it ends, one that is still held goes on in its place.

Source: MIDI 1.0 Detailed Specification; Standard MIDI Files 1.0 (RP-001); response to reset all controllers (RP-015).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.errors import SettingError
from chainsim.notes.model import Note, NoteEvents
from chainsim.notes.smf_file import read_smf_file
from chainsim.units import Array

DEFAULT_BEND_SEMITONES = 2.0
"""Where a file says nothing (MIDI 1.0)."""

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
    file = read_smf_file(path)
    chosen = _channel(file.messages, channel, path)
    part = _Part()
    for time_s, message in file.messages:
        if getattr(message, "channel", None) == chosen:
            part.hear(time_s, message)
    return part.finished(file.length_s)


def _channel(messages: Iterable[tuple[float, Any]], channel: int, path: str | Path) -> int:
    """The channel to read, counted from 0."""
    playing = sorted({m.channel for _, m in messages if m.type == "note_on" and m.velocity > 0})
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
