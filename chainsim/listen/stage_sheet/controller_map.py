"""The controllers of a sketch: where each comes from, and what it moves from where to where, patch by patch.

Names of controller numbers: MIDI 1.0 Detailed Specification, table of controllers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from chainsim.block import block_type
from chainsim.listen.stage_sheet.device_marks import mark_of
from chainsim.listen.stage_sheet.occurrences import Occurrence
from chainsim.listen.stage_sheet.settings_table import NO_PATCH, Cell
from chainsim.listen.stage_sheet.value_text import (
    Surroundings,
    level_text,
    note_value_text,
    number_text,
    setting_label,
    value_text,
)
from chainsim.sketch.model import ControllerEntry, Marks, State
from chainsim.stage.drives import Drive

CONTROLLER_NAMES: Mapping[int, str] = {
    0: "bank select", 1: "modulation wheel", 2: "breath", 4: "foot", 5: "portamento time", 6: "data entry",
    7: "volume", 8: "balance", 10: "pan", 11: "expression", 12: "effect control 1", 13: "effect control 2",
    16: "general purpose 1", 17: "general purpose 2", 18: "general purpose 3", 19: "general purpose 4",
    64: "damper pedal", 65: "portamento", 66: "sostenuto", 67: "soft pedal", 68: "legato", 69: "hold 2",
    70: "sound variation", 71: "timbre", 72: "release time", 73: "attack time", 74: "brightness",
    80: "general purpose 5", 81: "general purpose 6", 82: "general purpose 7", 83: "general purpose 8",
    84: "portamento control", 91: "effects 1 depth", 92: "effects 2 depth", 93: "effects 3 depth",
    94: "effects 4 depth", 95: "effects 5 depth",
}  # fmt: skip


@dataclass(frozen=True)
class Moves:
    """One setting that a controller moves: its value at either end, and the curve between."""

    setting: str
    low: Cell
    high: Cell
    curve: str


@dataclass(frozen=True)
class Work:
    """What a controller does in some patches; none named are all others."""

    patches: tuple[str, ...]
    moves: tuple[Moves, ...]


@dataclass(frozen=True)
class ControllerLine:
    """One controller: its name, where it comes from, what it does."""

    name: str
    source: str
    work: tuple[Work, ...]


def controller_lines(
    controllers: Mapping[str, ControllerEntry],
    states: Mapping[str | None, State],
    occurring: Sequence[Occurrence],
    marks: Mapping[tuple[str, str], Marks],
) -> tuple[ControllerLine, ...]:
    """Tell every controller, in the order in which they are declared."""
    tempi_bpm = [bpm for o in occurring for bpm in o.tempi_bpm]
    return tuple(
        ControllerLine(name, _source(entry, tempi_bpm), _work(name, states, occurring, marks))
        for name, entry in controllers.items()
    )


def controller_name(number: int) -> str:
    """A controller's number with the name that the trade has for it: "CC 11 expression"."""
    return f"CC {number} {CONTROLLER_NAMES.get(number, '')}".strip()


def _source(entry: ControllerEntry, tempi_bpm: Sequence[float]) -> str:
    says: Any = entry.settings
    match entry.type_name:
        case "control_change":
            channel = f", channel {says.channel}" if says.channel else ""
            return f"{controller_name(says.controller)}{channel}, from {says.file or 'no file yet'}"
        case "envelope":
            heard = "the horn" if entry.listens_to in (None, "input") else entry.listens_to
            return f"loudness of {heard}, {level_text(says.low_db)} ... {level_text(says.high_db)}"
        case "lfo":
            if says.note is not None:
                return f"LFO, {says.shape}, a turn in {note_value_text(says.note, tempi_bpm, 50.0)}"
            return f"LFO, {says.shape}, {number_text(says.rate_hz)} Hz"
        case _:
            return f"points in {says.file}" if says.points is None else _points(says.points)


def _points(points: Sequence[Sequence[float | str]]) -> str:
    first, last = points[0][0], points[-1][0]
    if isinstance(first, str):
        return f"points in the sketch, bars {first} ... {last}"
    return f"points in the sketch, {first:g} ... {last:g} s"


def _work(
    name: str,
    states: Mapping[str | None, State],
    occurring: Sequence[Occurrence],
    marks: Mapping[tuple[str, str], Marks],
) -> tuple[Work, ...]:
    by_drives: dict[tuple[Drive, ...], list[Occurrence]] = {}
    for occurrence in occurring:
        drives = tuple(d for controller, d in states[occurrence.patch].drives.values() if controller == name)
        by_drives.setdefault(drives, []).append(occurrence)
    ways = sorted(by_drives.items(), key=lambda way: -len(way[1]))
    return tuple(
        Work(
            tuple(o.patch or NO_PATCH for o in where) if place else (),
            tuple(_moves(d, states[where[0].patch], marks) for d in drives),
        )
        for place, (drives, where) in enumerate(ways)
    )


def _moves(drive: Drive, state: State, marks: Mapping[tuple[str, str], Marks]) -> Moves:
    spec = block_type(state.blocks[drive.block].type_name).settings_type.specs()[drive.setting]
    known = marks.get((drive.block, drive.setting))
    around = Surroundings(keys=() if state.key is None else (state.key,), a4_hz=state.a4_hz)
    low, high = (
        Cell(value_text(spec, end, around), "" if known is None else mark_of(known, spec, end))
        for end in (drive.low, drive.high)
    )
    return Moves(f"{drive.block} {setting_label(drive.setting)}", low, high, drive.curve)
