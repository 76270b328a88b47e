"""Files of cues beside a sketch: CSV with the keys of a cue as its columns, TOML as in a sketch, or MIDI.

In a MIDI file a program change, with the bank last selected, calls the patch of that number, and a control change that
a switch sends presses it. Times are seconds of the file's own tempo map.
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from chainsim.block import Assets
from chainsim.errors import SettingError, nearest
from chainsim.sketch.cues import WHAT, CueSettings, Known, WrittenCue, read_cues
from chainsim.sketch.model import Patch
from chainsim.stage.board import Switch
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot
from chainsim.stage.midi_cues import MidiControl, MidiCues, MidiProgram, read_midi_cues

MAX_BYTES = 1_000_000
SUFFIXES = (".csv", ".toml", ".mid", ".midi")
_YES = {"true": True, "false": False, "on": True, "off": False}

Dated = tuple[float, int, Cue]
"""A cue with its time and its place among the file's events."""


def read_cue_file(
    name: str,
    folder: Path | None,
    channel: int,
    known: Known,
    patches: Mapping[str, Patch],
    switches: Sequence[Switch],
    foot: Foot,
    faults: list[str],
    warnings: list[str],
) -> list[WrittenCue]:
    """Read a file of cues.

    Parameters
    ----------
    name : str
        Of a file in `folder`.
    channel : int
        Of a MIDI file, 1 to 16, or 0 for all.
    faults, warnings : list of str
        What is wrong with it, and what the player should know, is added.
    """
    suffix = Path(name).suffix.lower()
    if suffix not in SUFFIXES:
        faults.append(f'cue_file = "{name}", allowed {", ".join(SUFFIXES)}{nearest(suffix, SUFFIXES)}')
        return []
    try:
        path = Assets(folder).path(name)
        if suffix in (".mid", ".midi"):
            return _of_midi(read_midi_cues(path), name, channel, patches, switches, foot, warnings)
        if suffix == ".csv":
            return _of_csv(_text(path), name, known, faults)
        tables = _of_toml(_text(path), name)
    except SettingError as error:
        faults.append(f"cue_file: {error}")
        return []
    return read_cues(tables, known, [f"{name}: cues[{i}]" for i in range(len(tables))], faults)


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise SettingError(f"{path.name}: {path.stat().st_size} bytes, at most {MAX_BYTES} are allowed")
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingError(f"{path.name}: cannot be read as a text in UTF-8") from error


def _of_toml(text: str, name: str) -> list[dict[str, Any]]:
    try:
        values = tomllib.loads(text)
    except ValueError as error:  # of a number with thousands of digits, too
        raise SettingError(f"{name}: not valid TOML: {error}") from None
    except RecursionError:
        raise SettingError(f"{name}: nested too deep to be read") from None
    tables = values.get("cues", [])
    if set(values) - {"cues"} or not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
        raise SettingError(f"{name}: allowed a list of cues and nothing else: [[cues]]")
    return tables


def _of_csv(text: str, name: str, known: Known, faults: list[str]) -> list[WrittenCue]:
    (_, head), *rows = _lines(text, name) or [(1, [])]
    _check_head(head, name)
    cues = []
    for number, cells in rows:
        place, found = f"{name}: line {number}", list[str]()
        try:
            cues += read_cues([_row(head, cells)], known, [place], found)
        except SettingError as error:
            found.append(f"{place}: {error}")
        faults += [fault.replace(f"{place}.", f"{place}: ", 1) for fault in found]
    return cues


def _lines(text: str, name: str) -> list[tuple[int, list[str]]]:
    """The number and the cells of each line that has any; spreadsheets fill lines up with empty ones."""
    reader, lines = csv.reader(io.StringIO(text), strict=True), []
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            while cells and not cells[-1]:
                cells.pop()
            lines += [(reader.line_num, cells)] if cells else []
    except csv.Error as error:
        raise SettingError(f"{name}: line {reader.line_num}: not valid CSV: {error}") from None
    return lines


def _check_head(head: Sequence[str], name: str) -> None:
    """Check the first line, which names the columns."""
    known = list(CueSettings.specs())
    for column in head:
        if ";" in column or "\t" in column:
            raise SettingError(f'{name}: "{column:.60}", allowed columns that commas part, such as at_s,patch')
        if column not in known:
            hint = nearest(column.lower(), known) or f"; allowed {', '.join(known)}"
            raise SettingError(f'{name}: no column "{column:.60}"{hint}')
        if head.count(column) > 1:
            raise SettingError(f'{name}: {head.count(column)} columns are named "{column}"')
    if not {"at_s", "at_bar"} & set(head) or not set(WHAT) & set(head):
        raise SettingError(f"{name}: its first line names the columns, such as at_s,patch; allowed {', '.join(known)}")


def _row(head: Sequence[str], cells: Sequence[str]) -> dict[str, Any]:
    if len(cells) > len(head):
        raise SettingError(f"{len(cells)} cells under {len(head)} columns; decimals take a point, not a comma")
    return {key: _cell(key, cell) for key, cell in zip(head, cells, strict=False) if cell}


def _cell(key: str, cell: str) -> str | float | bool:
    if key in ("mute", "dry"):
        return _YES.get(cell.lower(), cell)
    if key != "at_s":
        return cell
    try:
        return float(cell)
    except ValueError:
        raise SettingError(f'at_s = "{cell:.60}", allowed seconds, with a point for decimals') from None


def _of_midi(
    events: MidiCues,
    name: str,
    channel: int,
    patches: Mapping[str, Patch],
    switches: Sequence[Switch],
    foot: Foot,
    warnings: list[str],
) -> list[WrittenCue]:
    if not events.has_tempo:
        warnings.append(f"{name}: says no tempo; read at 120 quarters a minute, as Standard MIDI Files 1.0 has it")
    heard = [e for e in events.events if channel in (0, e.channel)]
    unknown: set[tuple[int, int]] = set()
    cues = [*_calls(heard, patches, unknown), *(dated for s in switches for dated in _presses(heard, s, foot))]
    for bank, number in sorted(unknown):
        warnings.append(f"{name}: program {number} of bank {bank} calls no patch: midi_program, midi_bank")
    if not cues and not unknown:
        where = f" on channel {channel}" if channel else ""
        warnings.append(f"{name}: calls no patch and presses no switch{where}: midi_program, midi_cc")
    return [WrittenCue(cue) for _, _, cue in sorted(cues, key=lambda dated: dated[:2])]


def _calls(
    events: Sequence[MidiProgram | MidiControl], patches: Mapping[str, Patch], unknown: set[tuple[int, int]]
) -> Iterator[Dated]:
    """The patches that program changes call; the numbers of those that there are not go to `unknown`."""
    by_number = {(p.midi_bank, p.midi_program): n for n, p in patches.items() if p.midi_program is not None}
    for i, event in enumerate(events):
        if isinstance(event, MidiProgram):
            patch = by_number.get((event.bank, event.program))
            if patch is None:
                unknown.add((event.bank, event.program))
            else:
                yield event.time_s, i, Cue(event.time_s, "patch", patch, by_foot=False)


def _presses(events: Sequence[MidiProgram | MidiControl], switch: Switch, foot: Foot) -> Iterator[Dated]:
    """Presses and holds of one switch by its controller."""
    down: tuple[float, int] | None = None
    for i, event in enumerate(events):
        if not isinstance(event, MidiControl) or event.controller != switch.midi_cc:
            continue
        if event.down and down is None:
            down = event.time_s, i
        elif not event.down and down is not None:
            down_s, pressed = down
            held = switch.hold is not None and event.time_s - down_s >= foot.hold_ms / 1000.0
            if switch.hold is not None and not held:  # it acts when it is let go
                down_s = max(down_s, event.time_s - foot.release_ms / 1000.0)
            yield down_s, pressed, Cue(down_s, "hold" if held else "press", switch.name)
            down = None
    if down is not None:
        yield *down, Cue(down[0], "press" if switch.hold is None else "hold", switch.name)
