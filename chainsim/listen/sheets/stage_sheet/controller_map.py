"""The controllers of a sketch: where each comes from, and what it moves from where to where, patch by patch.

Names of controller numbers: MIDI 1.0 Detailed Specification, table of controllers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from chainsim.block import Assets, block_type
from chainsim.errors import SettingError
from chainsim.listen.sheets.stage_sheet.bars import bar_text
from chainsim.listen.sheets.stage_sheet.device_marks import mark_of
from chainsim.listen.sheets.stage_sheet.occurrences import Occurrence
from chainsim.listen.sheets.stage_sheet.settings_table import NO_PATCH, Cell
from chainsim.listen.sheets.stage_sheet.value_text import (
    Surroundings,
    level_text,
    note_value_text,
    number_text,
    setting_label,
    value_text,
)
from chainsim.sketch.model import ControllerEntry, Marks, State
from chainsim.stage.breakpoint_files import read_breakpoints
from chainsim.stage.drives import Drive

_POINTS_TOLD, _POINTS_BEFORE_THE_LAST = 5, 3
"""So many breakpoints are told in full; of more the first few, and the last."""

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
    assets: Assets,
) -> tuple[ControllerLine, ...]:
    """Tell every controller, in the order in which they are declared; `assets` are the sketch's files."""
    tempi_bpm = [bpm for o in occurring for bpm in o.tempi_bpm]
    return tuple(
        ControllerLine(name, _source(entry, tempi_bpm, assets), _work(name, states, occurring, marks))
        for name, entry in controllers.items()
    )


def controller_name(number: int) -> str:
    """A controller's number with the name that the trade has for it: "CC 11 expression"."""
    return f"CC {number} {CONTROLLER_NAMES.get(number, '')}".strip()


def _source(entry: ControllerEntry, tempi_bpm: Sequence[float], assets: Assets) -> str:
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
            if says.points is not None:
                return f"points in the sketch: {_course(says.points)}"
            course = _course_of(says.file, assets)
            return f"points in {says.file}" + (f": {course}" if course else "")


def _course_of(file: str, assets: Assets) -> str:
    """What a file says; nothing while it is not there: a sheet can be printed before the take is."""
    try:
        return _course(read_breakpoints(assets.path(file)))
    except SettingError:
        return ""


def _course(points: Sequence[Sequence[float | str]]) -> str:
    """Where the points lie: "bar 1 at 0, bar 3 at 0.8 ... bar 20 at 0.4"."""
    told = [f"{_time(at)} at {position:g}" for at, position in points]
    if len(told) <= _POINTS_TOLD:
        return ", ".join(told)
    return f"{', '.join(told[:_POINTS_BEFORE_THE_LAST])} ... {told[-1]}"


def _time(at: float | str) -> str:
    return f"bar {bar_text(at)}" if isinstance(at, str) else f"{at:g} s"


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
