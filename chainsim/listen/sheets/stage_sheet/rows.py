"""The tables of a stage sheet as rows of words, the same for text and page."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.sheets.stage_sheet.controller_map import Moves, Work
from chainsim.listen.sheets.stage_sheet.patch_lines import KeyNames, PatchLine
from chainsim.listen.sheets.stage_sheet.settings_table import Cell, SettingRow
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet
from chainsim.listen.sheets.stage_sheet.value_text import bpm_text, level_text, number_text

MIDI_HEADS = ("MIDI bank:program from 0", "from 1")
IN_TAKE = "in take"
"""Head of the times of cues in the take."""


def head_line(sheet: StageSheet) -> str:
    """Tempo, meter, key, instrument and tuning: what the band agrees on."""
    parts = [f"{bpm_text(sheet.tempo_bpm)} bpm", sheet.meter]
    if sheet.key is not None:
        parts.append(key_text(sheet.key))
    if sheet.instrument is not None:
        parts.append(sheet.instrument)
    parts.append(f"A4 = {number_text(sheet.a4_hz)} Hz")
    return "   ".join(parts)


def key_text(key: KeyNames) -> str:
    """A key as it sounds and as it is read."""
    return key.sounding if key.written is None else f"{key.sounding} (written {key.written})"


def chain_lines(sheet: StageSheet) -> list[tuple[str, str]]:
    """The chains, and which blocks no patch switches: name and words."""
    told = [
        ("Chain", sheet.chain),
        ("Always on", ", ".join(sheet.always_on)),
        ("By its own switch, whatever the patch", ", ".join(sheet.free_standing)),
        ("Off", ", ".join(sheet.off)),
    ]
    patches = (*(p for bank in sheet.banks for p in bank.patches), *sheet.in_no_bank)
    own = {p.name: (f"Chain of {p.name}", p.chain) for p in patches if p.chain is not None}
    return [(name, words) for name, words in (told[0], *own.values(), *told[1:]) if words]


def patch_notes(patch: PatchLine) -> list[str]:
    """What a patch brings of its own beside blocks and chain: tempo, key, tuning, output trim."""
    notes = []
    if patch.tempo_bpm is not None:
        notes.append(f"{bpm_text(patch.tempo_bpm)} bpm")
    if patch.key is not None:
        notes.append(key_text(patch.key))
    if patch.a4_hz is not None:
        notes.append(f"A4 = {number_text(patch.a4_hz)} Hz")
    if patch.trim_db is not None:
        notes.append(f"output {level_text(patch.trim_db)}")
    return notes


def shared_notes(patches: Sequence[PatchLine]) -> list[str]:
    """What every patch of a bank brings, so that it is told once."""
    if len(patches) < 2:
        return []
    first, *others = (patch_notes(p) for p in patches)
    return [note for note in first if all(note in notes for notes in others)]


def midi_texts(patch: PatchLine) -> tuple[str, str]:
    """Bank and program as MIDI counts them, and as devices show them that count from 1: "1:4", "2:5"."""
    if patch.midi_bank is None or patch.midi_program is None:
        return "", ""
    return f"{patch.midi_bank}:{patch.midi_program}", f"{patch.midi_bank + 1}:{patch.midi_program + 1}"


def has_midi(sheet: StageSheet) -> bool:
    """Whether MIDI calls any of its patches."""
    patches = [p for bank in sheet.banks for p in bank.patches] + list(sheet.in_no_bank)
    return any(p.midi_program is not None for p in patches)


def cell_text(cell: Cell) -> str:
    """A value, its mark in brackets."""
    return f"{cell.text} [{cell.mark}]" if cell.mark else cell.text


def block_name(row: SettingRow) -> str:
    """A block with its kind, if its name does not say it."""
    return row.block if row.kind in row.block else f"{row.block} ({row.kind.replace('_', ' ')})"


def patches_text(patches: Sequence[str]) -> str:
    """For which patches something is so; empty for all others."""
    return f"in {', '.join(patches)}" if patches else ""


def moves_text(moves: Moves) -> str:
    """From where to where a controller moves a setting."""
    curve = "" if moves.curve == "linear" else f", {'s-shaped' if moves.curve == 's' else moves.curve}"
    return f"{moves.setting} {cell_text(moves.low)} ... {cell_text(moves.high)}{curve}"


def work_text(work: Work) -> str:
    """All that a controller moves in some patches."""
    return "; ".join(moves_text(m) for m in work.moves) or "nothing"
