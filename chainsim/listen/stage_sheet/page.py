"""The stage sheet as a page: one HTML file without scripts that loads nothing, for the screen and for the printer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from chainsim.listen.stage_sheet import rows
from chainsim.listen.stage_sheet.cue_lines import CueLine
from chainsim.listen.stage_sheet.print_size import BlockRows, Layout, fitting_pt, settings_height
from chainsim.listen.stage_sheet.rows import block_name, patches_text
from chainsim.listen.stage_sheet.settings_table import SettingRow
from chainsim.listen.stage_sheet.sheet import StageSheet

TEMPLATE = "page.html.j2"

_CUES_IN_ONE_COLUMN, _MOST_CUE_COLUMNS = 10, 3
_ROWS_IN_ONE_COLUMN = 30
_GOOD_TO_READ_PT = 7.5
"""Before the letters get smaller than this, settings share lines."""


def sheet_page(sheet: StageSheet) -> str:
    """Lay the sheet out as HTML.

    It is made to be printed on one page of A4 or Letter. Where the settings are too many for that, those of a block
    that no room changes share a line.

    Returns
    -------
    str
        A whole document. Every name in it is escaped.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("chainsim.listen", "stage_sheet"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    rooms = len(sheet.columns) - 1
    by_block = [list(rows) for _, rows in groupby(sheet.settings, key=lambda row: row.block)]
    blocks = [BlockRows(block_name(rows[0]), "", rows) for rows in by_block]
    layout = Layout(_in_columns(blocks, rooms), _cue_columns(sheet), controllers_beside=False)
    pt = fitting_pt(sheet, layout)
    if pt < _GOOD_TO_READ_PT:
        together = [_run_together(rows) for rows in by_block]
        beside = bool(sheet.switches and sheet.controllers)
        layout = replace(layout, settings=_in_columns(together, rooms), controllers_beside=beside)
        pt = fitting_pt(sheet, layout)
    return environment.get_template(TEMPLATE).render(sheet=sheet, words=rows, layout=layout, print_pt=pt)


def _cue_columns(sheet: StageSheet) -> list[Sequence[CueLine]]:
    """The cues side by side, in as many columns as make the page short."""
    columns = min(_MOST_CUE_COLUMNS, math.ceil(len(sheet.cues) / _CUES_IN_ONE_COLUMN)) or 1
    height = math.ceil(len(sheet.cues) / columns) or 1
    return [sheet.cues[i : i + height] for i in range(0, len(sheet.cues), height)]


def _in_columns(blocks: Sequence[BlockRows], rooms: int) -> list[Sequence[BlockRows]]:
    """The blocks, many of them in two columns of about equal height."""
    height = settings_height(blocks, rooms)
    if height <= _ROWS_IN_ONE_COLUMN or len(blocks) < 2:
        return [blocks] if blocks else []
    cut = min(range(1, len(blocks)), key=lambda k: abs(2 * settings_height(blocks[:k], rooms) - height))
    return [blocks[:cut], blocks[cut:]]


def _run_together(rows: Sequence[SettingRow]) -> BlockRows:
    """A block with all that in one line which no room changes and no mark is set to."""
    kept = {row.setting for row in rows if any(c.mark for c in row.cells) or any(c.text for c in row.cells[1:])}
    line: dict[str, list[str]] = {}
    for row in rows:
        if row.setting not in kept:
            where = f" {patches_text(row.patches)}" if row.patches else ""
            line.setdefault(row.setting, []).append(f"{row.cells[0].text}{where}")
    text = "; ".join(f"{setting} {' / '.join(ways)}" for setting, ways in line.items())
    return BlockRows(block_name(rows[0]), text, [row for row in rows if row.setting in kept])
