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
from chainsim.stage.midi_cues import MidiCues, read_midi_cues

MAX_BYTES = 1_000_000
SUFFIXES = (".csv", ".toml", ".mid", ".midi")
_YES = {"true": True, "false": False, "on": True, "off": False}


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
            return list(_of_midi(read_midi_cues(path), name, channel, patches, switches, foot, warnings))
        text = _text(path)
        tables = _of_csv(text, name) if suffix == ".csv" else _of_toml(text, name)
    except SettingError as error:
        faults.append(f"cue_file: {error}")
        return []
    return read_cues(tables, known, f"{name}: cues", faults)


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


def _of_csv(text: str, name: str) -> list[dict[str, Any]]:
    try:
        rows = [[cell.strip() for cell in row] for row in csv.reader(io.StringIO(text), strict=True) if row]
    except csv.Error as error:
        raise SettingError(f"{name}: not valid CSV: {error}") from None
    head, known = rows[0] if rows else [], list(CueSettings.specs())
    for column in head:
        if column not in known:
            raise SettingError(f'{name}: no column "{column}"{nearest(column, known)}; allowed {", ".join(known)}')
    if not {"at_s", "at_bar"} & set(head) or not set(WHAT) & set(head):
        raise SettingError(f"{name}: its first line names the columns, such as at_s,patch; allowed {', '.join(known)}")
    if any(len(row) > len(head) for row in rows):
        raise SettingError(f"{name}: a line has more cells than the first line has columns")
    return [
        {key: _cell(key, cell) for key, cell in zip(head, row, strict=False) if cell} for row in rows[1:] if any(row)
    ]


def _cell(key: str, cell: str) -> str | float | bool:
    if key in ("mute", "dry"):
        return _YES.get(cell.lower(), cell)
    if key == "at_s":
        try:
            return float(cell)
        except ValueError:
            return cell
    return cell


def _of_midi(
    events: MidiCues,
    name: str,
    channel: int,
    patches: Mapping[str, Patch],
    switches: Sequence[Switch],
    foot: Foot,
    warnings: list[str],
) -> Iterator[WrittenCue]:
    if not events.has_tempo:
        warnings.append(f"{name}: says no tempo; read at 120 quarters a minute, as Standard MIDI Files 1.0 has it")
    by_number = {(p.midi_bank, p.midi_program): n for n, p in patches.items() if p.midi_program is not None}
    unknown: set[tuple[int, int]] = set()
    for program in events.programs:
        if channel in (0, program.channel):
            patch = by_number.get((program.bank, program.program))
            if patch is None:
                unknown.add((program.bank, program.program))
            else:
                yield WrittenCue(Cue(program.time_s, "patch", patch, by_foot=False))
    for bank, number in sorted(unknown):
        warnings.append(f"{name}: program {number} of bank {bank} calls no patch: midi_program, midi_bank")
    for switch in switches:
        down_s: float | None = None
        for control in events.controls:
            if control.controller != switch.midi_cc or channel not in (0, control.channel):
                continue
            if control.down and down_s is None:
                down_s = control.time_s
            elif not control.down and down_s is not None:
                held = switch.hold is not None and control.time_s - down_s >= foot.hold_ms / 1000.0
                if switch.hold is not None and not held:  # it acts when it is let go
                    down_s = max(down_s, control.time_s - foot.release_ms / 1000.0)
                yield WrittenCue(Cue(down_s, "hold" if held else "press", switch.name))
                down_s = None
        if down_s is not None:
            yield WrittenCue(Cue(down_s, "press" if switch.hold is None else "hold", switch.name))
