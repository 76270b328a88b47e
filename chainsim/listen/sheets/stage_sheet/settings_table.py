"""The settings that a player sets by hand: a row a block and setting, a column a room."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from chainsim.block import block_type
from chainsim.listen.sheets.stage_sheet.device_marks import mark_of
from chainsim.listen.sheets.stage_sheet.occurrences import Occurrence
from chainsim.listen.sheets.stage_sheet.spelled_pitch import HornPart
from chainsim.listen.sheets.stage_sheet.value_text import (
    NOTE_VALUES,
    Surroundings,
    distinct_tempi,
    item_text,
    level_text,
    note_value_ms,
    setting_label,
    value_text,
)
from chainsim.settings import Settings, Spec
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import BlockEntry, Marks, State
from chainsim.stage.drives import Drive

AS_WRITTEN, NO_PATCH = "as written", "no patch"
"""The first column; and the state before any patch is chosen."""

ALWAYS_TOLD: Mapping[str, tuple[str, ...]] = {
    "delay": ("time_ms", "note", "feedback_percent", "dry_db", "wet_db"),
    "reverb": ("space", "decay_s", "dry_db", "wet_db"),
    "envelope_filter": ("response", "sweep_low_hz", "sweep_high_hz", "q"),
    "following_synth": ("voices",),
    "pitch_shifter": ("voices",),
    "wandering_bass": ("interval", "every"),
    "noise_gate": ("threshold_db",),
    "blender": ("dry_db", "wet_db"),
    "gain": ("gain_db",),
    "drive": ("shape", "drive_db", "wet_db"),
    "compressor": ("threshold_db", "ratio", "make_up_db"),
    "limiter": ("ceiling_dbtp",),
    "chorus": ("rate_hz", "note", "depth_ms", "wet_db"),
    "vibrato": ("rate_hz", "note", "depth_cents"),
    "flanger": ("rate_hz", "note", "feedback_percent", "wet_db"),
    "phaser": ("rate_hz", "note", "feedback_percent", "wet_db"),
    "tremolo": ("rate_hz", "note", "depth"),
    "ring_modulator": ("follows", "freq_hz", "ratio", "wet_db"),
    "frequency_divider": ("octave_down_db", "two_octaves_down_db"),
    "convolver": ("file", "dry_db", "wet_db"),
    "pan": ("pan",),
}
"""By type: settings that stand on the sheet even where the sketch leaves them at their defaults."""


@dataclass(frozen=True)
class Cell:
    """A value, and where it stands on the player's own device."""

    text: str
    mark: str = ""


@dataclass(frozen=True)
class SettingRow:
    """One setting of one block.

    Attributes
    ----------
    block, kind : str
        The block's name and its type.
    setting : str
        Its name without its unit.
    patches : tuple of str
        The patches in which it is so; empty where it is so in all others.
    cells : tuple of Cell
        One a column; beyond the first only what differs from it.
    """

    block: str
    kind: str
    setting: str
    patches: tuple[str, ...]
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Column:
    """The sketch in one room: its states by patch, the one under None as written."""

    name: str
    states: Mapping[str | None, State]


@dataclass(frozen=True)
class _Value:
    """What a setting is in one state, or what drives it."""

    setting: str
    value: Any
    swing_percent: float = 50.0
    drive: tuple[str, Drive] | None = None


def settings_rows(
    columns: Sequence[Column],
    occurring: Sequence[Occurrence],
    switched: frozenset[str],
    marks: Mapping[tuple[str, str], Marks],
    part: HornPart,
) -> tuple[SettingRow, ...]:
    """Tell every setting of the blocks that are engaged somewhere.

    Parameters
    ----------
    columns : sequence of Column
        The first is what the others are compared with.
    occurring : sequence of Occurrence
    switched : frozenset of str
        Blocks that a switch or cue may engage by hand.
    marks : mapping of (block, setting) to Marks
    part : HornPart
    """
    table = _Table(columns, occurring, switched, marks, part)
    names: dict[str, None] = {}
    for occurrence in occurring:
        names.update(dict.fromkeys(block_names(columns[0].states[occurrence.patch].chain)))
    return tuple(row for name in names for row in table.block(name))


class _Table:
    def __init__(
        self,
        columns: Sequence[Column],
        occurring: Sequence[Occurrence],
        switched: frozenset[str],
        marks: Mapping[tuple[str, str], Marks],
        part: HornPart,
    ) -> None:
        self._columns, self._occurring, self._switched = columns, occurring, switched
        self._marks, self._part = marks, part

    def block(self, name: str) -> Iterator[SettingRow]:
        """The rows of one block."""
        heard = [o for o in self._occurring if self._is_heard(name, o)]
        if not heard:
            return
        kind = self._entry(name, 0, heard[0]).type_name
        left_out = [all(self._left_out(name, i, o) for o in heard) for i in range(len(self._columns))]
        if any(left_out):
            cells = tuple(Cell("left out" if out else "") for out in left_out)
            yield SettingRow(name, kind, "", (), cells)
        for settings in self._groups(name, heard):
            for index in self._indices(name, settings, heard):
                yield from self._rows(name, kind, settings, index, heard)

    def _is_heard(self, name: str, occurrence: Occurrence) -> bool:
        state = self._columns[0].states[occurrence.patch]
        if name not in set(block_names(state.chain)):
            return False
        common = state.blocks[name].common
        return common.engaged or common.switching == "free_standing" or name in self._switched

    def _left_out(self, name: str, column: int, occurrence: Occurrence) -> bool:
        return self._entry(name, 0, occurrence).common.engaged > self._entry(name, column, occurrence).common.engaged

    def _entry(self, name: str, column: int, occurrence: Occurrence) -> BlockEntry:
        return self._columns[column].states[occurrence.patch].blocks[name]

    def _drive(self, name: str, setting: str, column: int, occurrence: Occurrence) -> tuple[str, Drive] | None:
        return self._columns[column].states[occurrence.patch].drives.get((name, setting))

    def _groups(self, name: str, heard: Sequence[Occurrence]) -> list[tuple[str, ...]]:
        """The settings to tell, in their order, alternatives together."""
        entries = [(i, o, self._entry(name, i, o)) for i in range(len(self._columns)) for o in heard]
        cls = block_type(entries[0][2].type_name).settings_type
        told = set(ALWAYS_TOLD.get(entries[0][2].type_name, ())).union(
            *(e.settings.model_fields_set for _, _, e in entries)
        )
        told |= {setting for block, setting in self._marks if block == name}
        told |= {n for n in cls.specs() if any(self._drive(name, n, i, o) for i, o, _ in entries)}
        told -= {n for n in cls.specs() if all(n in e.settings.idle() for _, _, e in entries)}
        groups = {n: next((g for g in cls.alternatives if n in g), (n,)) for n in cls.specs() if n in told}
        return list(dict.fromkeys(groups.values()))

    def _indices(self, name: str, settings: tuple[str, ...], heard: Sequence[Occurrence]) -> list[int]:
        """Of a list of tables the places in it; else the one value there is."""
        spec = self._spec(name, settings[0], heard)
        if spec.items is None:
            return [0]
        lists = [
            getattr(self._entry(name, i, o).settings, settings[0]) for i in range(len(self._columns)) for o in heard
        ]
        return list(range(max(len(items) for items in lists) or (1 if settings[0] == "voices" else 0)))

    def _spec(self, name: str, setting: str, heard: Sequence[Occurrence]) -> Spec:
        return self._entry(name, 0, heard[0]).settings.specs()[setting]

    def _rows(
        self, name: str, kind: str, settings: tuple[str, ...], index: int, heard: Sequence[Occurrence]
    ) -> Iterator[SettingRow]:
        """One row for each way in which patches set it, the most usual first."""
        by_values: dict[str, tuple[list[_Value], list[Occurrence]]] = {}
        for occurrence in heard:
            values = [self._value(name, settings, index, i, occurrence) for i in range(len(self._columns))]
            by_values.setdefault(repr(values), (values, []))[1].append(occurrence)
        listed = self._spec(name, settings[0], heard).items is not None
        label = f"{settings[0].removesuffix('s')} {index + 1}" if listed else setting_label(settings[0])
        ways = sorted(by_values.values(), key=lambda way: -len(way[1]))
        for place, (values, where) in enumerate(ways):
            told = [self._cell(name, v, i, where) for i, v in enumerate(values)]
            cells = [told[0], *(Cell("") if v == values[0] else c for v, c in zip(values[1:], told[1:], strict=True))]
            if any(cell.text for cell in cells):
                patches = tuple(o.patch or NO_PATCH for o in where) if place else ()
                yield SettingRow(name, kind, label, patches, tuple(cells))

    def _value(self, name: str, settings: tuple[str, ...], index: int, column: int, occurrence: Occurrence) -> _Value:
        says = self._entry(name, column, occurrence).settings
        setting = settings[-1] if getattr(says, settings[-1]) is not None else settings[0]
        if (drive := self._drive(name, setting, column, occurrence)) is not None:
            return _Value(setting, None, drive=drive)
        value = getattr(says, setting)
        items = says.specs()[setting].items
        if items is not None:
            listed = value or ([items()] if setting == "voices" else [])
            return _Value(setting, listed[index] if index < len(listed) else None)
        swing_percent = getattr(says, "swing_percent", 50.0) if setting in NOTE_VALUES else 50.0
        return _Value(setting, value, swing_percent)

    def _cell(self, name: str, what: _Value, column: int, where: Sequence[Occurrence]) -> Cell:
        states = [self._columns[column].states[o.patch] for o in where]
        around = Surroundings(
            tempi_bpm=[bpm for o in where for bpm in o.tempi_bpm],
            keys=list(dict.fromkeys(s.key for s in states if s.key is not None)),
            a4_hz=states[0].a4_hz,
            part=self._part,
        )
        spec = states[0].blocks[name].settings.specs()[what.setting]
        marks = self._marks.get((name, what.setting))
        if what.drive is not None:
            controller, drive = what.drive
            ends = [_marked(spec, end, around, marks) for end in (drive.low, drive.high)]
            mark = " ... ".join(end.mark for end in ends if end.mark)
            return Cell(f"{ends[0].text} ... {ends[1].text}, by {controller}", mark)
        if what.value is None:
            return Cell("")
        if isinstance(what.value, Settings):
            return Cell(item_text(what.value, around))
        if what.setting in NOTE_VALUES and marks is None:
            return self._timed(name, where[0], what, spec, around)
        text = value_text(spec, what.value, around, what.swing_percent)
        return Cell(text, "" if marks is None else mark_of(marks, spec, what.value))

    def _timed(self, name: str, where: Occurrence, what: _Value, spec: Spec, around: Surroundings) -> Cell:
        """A note value, with the marks of the time in ms in whose place it stands."""
        text = value_text(spec, what.value, around, what.swing_percent)
        marks = self._marks.get((name, "time_ms"))
        if marks is None:
            return Cell(text)
        times = self._entry(name, 0, where).settings.specs()["time_ms"]
        lengths = [note_value_ms(what.value, bpm, what.swing_percent) for bpm in distinct_tempi(around.tempi_bpm)]
        return Cell(text, ", ".join(mark_of(marks, times, ms) for ms in lengths))


def _marked(spec: Spec, value: float, around: Surroundings, marks: Marks | None) -> Cell:
    text = level_text(value) if spec.unit == "dB" else value_text(spec, value, around)
    return Cell(text, "" if marks is None else mark_of(marks, spec, value))
