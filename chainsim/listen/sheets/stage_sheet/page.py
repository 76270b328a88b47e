"""The stage sheet as a page: one HTML file without scripts that loads nothing, for the screen and for the printer."""

from __future__ import annotations

from chainsim.listen.sheets.stage_sheet import rows
from chainsim.listen.sheets.stage_sheet.layout import fitting_layout
from chainsim.listen.sheets.stage_sheet.playing_part import BANKS_ABREAST
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet
from chainsim.listen.sheets.templates import filled

TEMPLATE = "stage_sheet/page.html.j2"


def sheet_page(sheet: StageSheet) -> str:
    """Lay the sheet out as HTML.

    It is made to be printed on one page of A4 or Letter. Where what is read while playing would get too small on it,
    the set-up begins a second one.

    Returns
    -------
    str
        A whole document. Every name in it is escaped.
    """
    return filled(TEMPLATE, sheet=sheet, words=rows, layout=fitting_layout(sheet), banks_abreast=BANKS_ABREAST)
