"""Cues in a MIDI file: program changes with their banks, and the controllers that stand for switches.

A program change counts with the bank last sent on its channel,

    bank = 128 CC0 + CC32                                                                       (1)

and with bank 0 before any was sent. Each half of the bank is kept until it is sent anew.

Source: MIDI 1.0 Detailed Specification (bank select); Standard MIDI Files 1.0 (RP-001).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chainsim.notes.smf_file import read_smf_file

SWITCH_DOWN = 64
"""Values from here on are "down" or "on" (MIDI 1.0, switch controllers)."""

_BANK_HALVES = {0: 7, 32: 0}
"""How far each half of a bank's number is shifted."""
_FIRST_MODE_MESSAGE = 120


@dataclass(frozen=True)
class MidiProgram:
    """A program change.

    Attributes
    ----------
    time_s : float
    channel : int
        1 to 16.
    bank : int
        0 to 16383: equation (1).
    program : int
        0 to 127.
    """

    time_s: float
    channel: int
    bank: int
    program: int


@dataclass(frozen=True)
class MidiControl:
    """A control change.

    Attributes
    ----------
    time_s : float
    channel : int
        1 to 16.
    controller : int
        1 to 119; those that select a bank are not among them.
    value : int
        0 to 127.
    """

    time_s: float
    channel: int
    controller: int
    value: int

    @property
    def down(self) -> bool:
        """What it says of a switch."""
        return self.value >= SWITCH_DOWN


@dataclass(frozen=True)
class MidiCues:
    """What a file sends to a board.

    Attributes
    ----------
    events : tuple of MidiProgram and MidiControl
        In order of time and, at one time, in the order of the file.
    has_tempo : bool
        Whether the file says a tempo; without one its times are those of 120 quarters a minute.
    length_s : float
        When the file ends.
    """

    events: tuple[MidiProgram | MidiControl, ...]
    has_tempo: bool
    length_s: float

    @property
    def programs(self) -> tuple[MidiProgram, ...]:
        """The program changes."""
        return tuple(e for e in self.events if isinstance(e, MidiProgram))

    @property
    def controls(self) -> tuple[MidiControl, ...]:
        """The control changes."""
        return tuple(e for e in self.events if isinstance(e, MidiControl))


def read_midi_cues(path: str | Path) -> MidiCues:
    """Read what all channels of a file send.

    Raises
    ------
    SettingError
        If the file cannot be read, is no MIDI file, is damaged or too large.
    """
    file = read_smf_file(path)
    banks: dict[int, dict[int, int]] = {}
    events = [e for time_s, message in file.messages if (e := _event(time_s, message, banks)) is not None]
    return MidiCues(tuple(events), file.has_tempo, file.length_s)


def _event(time_s: float, message: Any, banks: dict[int, dict[int, int]]) -> MidiProgram | MidiControl | None:
    """The event that a message is, if it is one; `banks` keeps the halves sent on each channel."""
    if message.type == "program_change":
        halves = banks.get(message.channel, {})
        bank = sum(value << _BANK_HALVES[controller] for controller, value in halves.items())
        return MidiProgram(time_s, message.channel + 1, bank, message.program)
    if message.type != "control_change" or message.control >= _FIRST_MODE_MESSAGE:
        return None
    if message.control in _BANK_HALVES:
        banks.setdefault(message.channel, {})[message.control] = message.value
        return None
    return MidiControl(time_s, message.channel + 1, message.control, message.value)
