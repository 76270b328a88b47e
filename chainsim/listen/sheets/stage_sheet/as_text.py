"""The stage sheet in characters, at most 80 to a line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from chainsim.listen.sheets.stage_sheet.patch_lines import PatchLine
from chainsim.listen.sheets.stage_sheet.rows import (
    IN_TAKE,
    MIDI_HEADS,
    block_name,
    cell_text,
    chain_lines,
    has_midi,
    head_line,
    midi_texts,
    patch_notes,
    patches_text,
    shared_notes,
    work_text,
)
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet
from chainsim.listen.sheets.text_table import plain_line, text_table, wrapped

WIDTH = 80
_ROOMS_ABREAST = 2


def sheet_text(sheet: StageSheet) -> str:
    """Lay the sheet out as text: first what the foot needs, then what the hands set before.

    Returns
    -------
    str
        Lines of at most 80 characters, without trailing blanks.
    """
    parts = [
        _head(sheet),
        *_banks(sheet),
        *_switches(sheet),
        *_cues(sheet),
        *_settings(sheet),
        *_controllers(sheet),
        "\n".join(wrapped(line, WIDTH, "  ") for line in sheet.cautions),
    ]
    return "\n\n".join(parts)


def _head(sheet: StageSheet) -> str:
    room = f" - {sheet.room}" if sheet.room is not None else ""
    title = wrapped(f"{sheet.title}{room}", WIDTH)
    rule = "=" * max(len(line) for line in title.splitlines())
    lines = [wrapped(f"{name}: {words}", WIDTH, "  ") for name, words in chain_lines(sheet)]
    return "\n".join([title, rule, wrapped(head_line(sheet), WIDTH), *lines])


def _section(name: str, body: str) -> str:
    return f"{wrapped(name, WIDTH)}\n{body}"


def _banks(sheet: StageSheet) -> Iterator[str]:
    midi = has_midi(sheet)
    for number, bank in enumerate(sheet.banks, 1):
        name = f"BANK {number}" + ("" if bank.name == str(number) else f": {bank.name}")
        yield _section(" - ".join([name, *shared_notes(bank.patches)]), _patches(bank.patches, midi))
    if sheet.in_no_bank:
        name = "IN NO BANK" if sheet.banks else "PATCHES"
        yield _section(" - ".join([name, *shared_notes(sheet.in_no_bank)]), _patches(sheet.in_no_bank, midi))


def _patches(patches: Sequence[PatchLine], midi: bool) -> str:
    shared = shared_notes(patches)
    head = ["", "press", "patch", "on", "its own", *(MIDI_HEADS if midi else ())]
    rows = [
        [
            "" if p.place is None else str(p.place),
            ", ".join(p.reached_by),
            p.name,
            ", ".join(p.on) or "plain",
            "; ".join(note for note in patch_notes(p) if note not in shared),
            *(midi_texts(p) if midi else ()),
        ]
        for p in patches
    ]
    return _without_empty(head, rows)


def _switches(sheet: StageSheet) -> Iterator[str]:
    if not sheet.switches:
        return
    head = ["switch", "press", "second press", "hold", "lamp shows", "MIDI"]
    rows = [
        [
            s.name,
            s.press,
            s.second_press or "",
            s.hold or "",
            s.lit or "-",
            "" if s.midi_cc is None else f"CC {s.midi_cc}",
        ]
        for s in sheet.switches
    ]
    yield _section("SWITCHES", _without_empty(head, rows))


def _cues(sheet: StageSheet) -> Iterator[str]:
    if not sheet.cues:
        return
    rows = [[c.when, c.in_take, c.what, ", ".join(c.gestures), c.caution] for c in sheet.cues]
    yield _section("CUES", _without_empty(["when", IN_TAKE, "what", "press", ""], rows))


def _settings(sheet: StageSheet) -> Iterator[str]:
    """One table, or several side by side in thought where there are many rooms: the first column stands in each."""
    if not sheet.settings:
        return
    starts = range(1, max(len(sheet.columns), 2), _ROOMS_ABREAST)
    for start in starts:
        shown = [0, *range(start, min(start + _ROOMS_ABREAST, len(sheet.columns)))]
        rows, before = [], None
        for row in sheet.settings:
            cells = [cell_text(row.cells[i]) for i in shown]
            if row.block != before:
                rows.append([block_name(row), *cells] if not row.setting else [block_name(row)])
            if row.setting:
                rows.append(["  " + " ".join(filter(None, (row.setting, patches_text(row.patches)))), *cells])
            before = row.block
        filled = [row + [""] * (len(shown) + 1 - len(row)) for row in rows]
        yield _section("SETTINGS", text_table(["", *(sheet.columns[i] for i in shown)], filled, WIDTH))


def _controllers(sheet: StageSheet) -> Iterator[str]:
    if not sheet.controllers:
        return
    lines = []
    for controller in sheet.controllers:
        lines.append(wrapped(f"{controller.name}: {controller.source}", WIDTH, "  "))
        for work in controller.work:
            where = f"{patches_text(work.patches)}: " if work.patches else ""
            lines.append(wrapped(f"  {where}{work_text(work)}", WIDTH, "    "))
    yield _section("CONTROLLERS", "\n".join(lines))


def _without_empty(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table without the columns in which no row has anything."""
    kept = [i for i in range(len(head)) if any(plain_line(row[i]).strip() for row in rows)]
    return text_table([head[i] for i in kept], [[row[i] for i in kept] for row in rows], WIDTH)
