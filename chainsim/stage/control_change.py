"""A controller in a MIDI file (pedal, breath) as a position: in steps, as they were sent.

    position = v / 127,   or (128 MSB + LSB) / 16383 where the file sends both halves                       (1)

Controller c below 32 has its LSB at c + 32; a new MSB alone sets the LSB to zero. Before its first value the controller
stands where it is then found: it does not move unless something moves it.

Source: MIDI 1.0 Detailed Specification (control change); response to reset all controllers (RP-015).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import field_validator

from chainsim.block import Block, Context, Io
from chainsim.errors import SettingError
from chainsim.notes.smf_file import SmfFile, read_smf_file
from chainsim.settings import Settings, whole, words
from chainsim.stage.held_steps import held_steps, samples_of

_LSB_OF_MSB = 32
_FIRST_MODE_MESSAGE, _RESET_ALL = 120, 121
_RESET: Mapping[int, int] = {1: 0, 11: 127, 64: 0, 65: 0, 66: 0, 67: 0}
"""Where a reset of all controllers sets some of them (RP-015); it leaves the others as they are."""


class ControlChangeSettings(Settings):
    file: str = words("", "the MIDI file, in the sketch's own folder")
    controller: int = whole(11, 0, 119, "number of the controller: 11 is expression, 2 breath, 1 modulation, 4 foot")
    channel: int = whole(0, 0, 16, "MIDI channel, 1 to 16; 0 is all of them")

    @field_validator("file")
    @classmethod
    def _is_a_midi_file(cls, file: str) -> str:
        if file and not file.lower().endswith((".mid", ".midi")):
            raise ValueError(f'= "{file}", allowed the name of a .mid file')
        return file


def read_controller(path: str | Path, controller: int, channel: int = 0) -> list[tuple[float, float]]:
    """Read the movements of one controller: equation (1).

    Parameters
    ----------
    path : path
    controller : int
        0 to 119.
    channel : int
        1 to 16; 0 for all of them.

    Returns
    -------
    list of (time in seconds, position 0 to 1)
        At rising times; of several values at one time the last counts.

    Raises
    ------
    SettingError
        If the file cannot be read, is damaged, or does not send this controller there.
    """
    file = read_smf_file(path)
    changes = _control_changes(file, channel)
    numbers = {m.control for _, m in changes}
    if controller not in numbers:
        raise SettingError(f"{path}: {_what_there_is(file, controller, channel)}")
    low = controller + _LSB_OF_MSB if controller < _LSB_OF_MSB else -1
    points: dict[float, float] = {}
    by_channel: dict[int, _Halves] = defaultdict(_Halves)
    for time_s, message in changes:
        held = by_channel[message.channel]
        if message.control == controller:
            held.msb, held.lsb = message.value, held.lsb if held.lsb_at_s == time_s else 0
        elif message.control == low:
            held.lsb, held.lsb_at_s = message.value, time_s
        elif message.control == _RESET_ALL and controller in _RESET:
            held.msb = held.lsb = _RESET[controller]
        else:
            continue
        if held.msb is not None:
            points[time_s] = (128 * held.msb + held.lsb) / 16383.0 if low in numbers else held.msb / 127.0
    return list(points.items())


@dataclass
class _Halves:
    """What a channel last sent of a controller; of an LSB also when, for it may come before its MSB at one time."""

    msb: int | None = None
    lsb: int = 0
    lsb_at_s: float = -1.0


def _control_changes(file: SmfFile, channel: int) -> list[tuple[float, Any]]:
    return [(t, m) for t, m in file.messages if m.type == "control_change" and channel in (0, m.channel + 1)]


def _what_there_is(file: SmfFile, controller: int, channel: int) -> str:
    """What to say where a controller is not sent."""
    sent = {(m.control, m.channel + 1) for _, m in _control_changes(file, 0) if m.control < _FIRST_MODE_MESSAGE}
    missing = f"no controller {controller}" + (f" on channel {channel}" if channel else "")
    if channels := sorted(c for number, c in sent if number == controller):
        return f"{missing}, but on {', '.join(map(str, channels))}"
    others = sorted({number for number, c in sent if channel in (0, c)})
    return f"{missing}, but {', '.join(map(str, others))}" if others else f"{missing}, nor any other"


class ControlChange(Block[ControlChangeSettings]):
    """A pedal, a wheel or the breath out of a MIDI file."""

    type_name = "control_change"
    settings_type = ControlChangeSettings
    audio_inputs = ()
    rows = ("position",)
    reads_files = True
    source = "MIDI 1.0 Detailed Specification"

    def prepare(self, context: Context) -> None:
        chosen = self.settings
        if not chosen.file:
            raise SettingError("file: a control change needs a MIDI file, in the sketch's own folder")
        points = read_controller(context.assets.path(chosen.file), chosen.controller, chosen.channel)
        times_s, positions = (np.array(v, dtype=np.float64) for v in zip(*points, strict=True))
        self._start, self._value = samples_of(times_s, context.sample_rate_hz), positions

    def process(self, io: Io) -> None:
        first = max(int(np.searchsorted(self._start, io.n0, "right")) - 1, 0)
        held_steps(io.n0, self._start, self._value, first, io.y)
