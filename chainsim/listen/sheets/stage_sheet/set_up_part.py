"""The part of a printed sheet that is read before the show: controllers and settings, and how high they are.

Heights are in em; the factors are those of the page's style.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from chainsim.listen.sheets.print_size import CELL_EM, LINE_EM, column_em, lines, words_em
from chainsim.listen.sheets.stage_sheet.controller_map import ControllerLine
from chainsim.listen.sheets.stage_sheet.rows import block_name, cell_text, chain_lines, patches_text, work_text
from chainsim.listen.sheets.stage_sheet.settings_table import SettingRow
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet

_ROWS_IN_ONE_COLUMN = 12
_HEADING_EM, _HEAD_LINE_EM, _RULE_EM = 2.25, 1.07, 0.16
_SETTING_SHARE, _CONTROLLER_SHARE, _SOURCE_SHARE = 0.24, 0.12, 0.4
_LEAST_OF_ROOM, _MOST_OF_ROOMS = 0.13, 0.45
"""Of the width of the settings: what a room takes at the least, and all of them at the most."""
_HEAD_EM = 0.97
"""Of the smallest letters; of larger ones heads have 0.8."""


@dataclass(frozen=True)
class BlockRows:
    """The settings of one block on the page.

    Attributes
    ----------
    name : str
    run_together : str
        Settings in one line, where there is no place for a row each.
    rows : list of SettingRow
    """

    name: str
    run_together: str
    rows: list[SettingRow]


@dataclass(frozen=True)
class SettingColumns:
    """The settings side by side, `room_share` of each column's width for every room."""

    columns: Sequence[Sequence[BlockRows]]
    room_share: float
    height_em: float


def block_rows(settings: Sequence[SettingRow], *, together: bool) -> list[BlockRows]:
    """The settings by block; `together` puts those in one line which no room changes and no mark is set to."""
    by_block = [list(rows) for _, rows in groupby(settings, key=lambda row: row.block)]
    return [_run_together(rows) if together else BlockRows(block_name(rows[0]), "", rows) for rows in by_block]


def setting_columns(blocks: Sequence[BlockRows], rooms: Sequence[str], width_em: float) -> SettingColumns:
    """The blocks in one column, or many of them in two, if that is shorter."""
    alone = _abreast([blocks] if blocks else [], rooms, width_em)
    if sum(len(block.rows) + 1 for block in blocks) <= _ROWS_IN_ONE_COLUMN or len(blocks) < 2:
        return alone
    half = column_em(width_em, 2)
    heights = [_block(block, len(rooms), _least_room_share(rooms, half), half) for block in blocks]
    cut = min(range(1, len(blocks)), key=lambda k: max(sum(heights[:k]), sum(heights[k:])))
    return min(alone, _abreast([blocks[:cut], blocks[cut:]], rooms, width_em), key=lambda way: way.height_em)


def set_up_em(sheet: StageSheet, settings: SettingColumns, width_em: float) -> float:
    """Height of chain, controllers, settings and cautions."""
    told = sum(LINE_EM * lines(f"{name}: {words}", width_em, bold=True) + 0.15 for name, words in chain_lines(sheet))
    controllers = sum(_controller(c, width_em) for c in sheet.controllers) + 3.0 if sheet.controllers else 0.0
    cautions = sum(LINE_EM * lines(line, width_em) + 0.15 for line in sheet.cautions) + 0.8
    return _HEADING_EM + told + controllers + settings.height_em + cautions


def _abreast(columns: Sequence[Sequence[BlockRows]], rooms: Sequence[str], width_em: float) -> SettingColumns:
    """In columns that are given, with as much room for each room as makes them short."""
    if not columns:
        return SettingColumns(columns, 0.0, 0.0)
    width = column_em(width_em, len(columns))
    least = _least_room_share(rooms, width)
    shares = [least + k * (_MOST_OF_ROOMS / max(len(rooms), 1) - least) / 4 for k in range(5 if rooms else 1)]
    return min((_shared(columns, rooms, width, share) for share in shares), key=lambda way: way.height_em)


def _shared(columns: Sequence[Sequence[BlockRows]], rooms: Sequence[str], width: float, share: float) -> SettingColumns:
    head = max((lines(room, (share * width - CELL_EM) / _HEAD_EM) for room in rooms), default=1)
    heights = [sum(_block(block, len(rooms), share, width) for block in blocks) for blocks in columns]
    return SettingColumns(columns, share, max(heights) + _HEAD_LINE_EM * head + 2.0)


def _least_room_share(rooms: Sequence[str], width_em: float) -> float:
    """As wide as the longest part of a name that does not break, if there is so much."""
    if not rooms:
        return 0.0
    longest = max(
        _HEAD_EM * words_em(f"{part}_") for room in rooms for part in room.replace("_", " ").split() or [room]
    )
    return min(max(_LEAST_OF_ROOM, (longest + CELL_EM) / width_em), _MOST_OF_ROOMS / len(rooms))


def _controller(controller: ControllerLine, width_em: float) -> float:
    source = lines(controller.source, _SOURCE_SHARE * width_em - CELL_EM)
    width = (1.0 - _CONTROLLER_SHARE - _SOURCE_SHARE) * width_em - CELL_EM
    work = sum(lines(f"{patches_text(w.patches)}: {work_text(w)}", width) for w in controller.work)
    name = lines(controller.name, _CONTROLLER_SHARE * width_em - CELL_EM, bold=True)
    return LINE_EM * max(source, work, name) + _RULE_EM


def _block(block: BlockRows, rooms: int, share: float, width_em: float) -> float:
    head = LINE_EM * lines(f"{block.name}   {block.run_together}", width_em - CELL_EM) + _RULE_EM
    return head + sum(_row(row, rooms, share, width_em) for row in block.rows if row.setting)


def _row(row: SettingRow, rooms: int, share: float, width_em: float) -> float:
    differs = any(cell.text for cell in row.cells[1:])
    name = lines(f"{row.setting} {patches_text(row.patches)}", _SETTING_SHARE * width_em - CELL_EM)
    of_rooms = share * rooms if differs else 0.0
    value = lines(cell_text(row.cells[0]), (1.0 - _SETTING_SHARE - of_rooms) * width_em - CELL_EM)
    others = (lines(cell_text(cell), share * width_em - CELL_EM) for cell in row.cells[1:] if cell.text)
    marked = 0.1 if any(cell.mark for cell in row.cells) else 0.0
    return LINE_EM * max(name, value, *others) + _RULE_EM + marked


def _run_together(rows: list[SettingRow]) -> BlockRows:
    kept = {row.setting for row in rows if any(c.mark for c in row.cells) or any(c.text for c in row.cells[1:])}
    line: dict[str, list[str]] = {}
    for row in rows:
        if row.setting not in kept:
            where = f" {patches_text(row.patches)}" if row.patches else ""
            line.setdefault(row.setting, []).append(f"{row.cells[0].text}{where}")
    text = "; ".join(f"{setting} {' / '.join(ways)}" for setting, ways in line.items())
    return BlockRows(block_name(rows[0]), text, [row for row in rows if row.setting in kept])
