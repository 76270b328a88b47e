"""A sheet as a page: one HTML file without scripts that loads nothing, in letters as large as one page allows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chainsim.listen.sheets.document import Document, Part, Table
from chainsim.listen.sheets.print_size import CELL_EM, HEIGHT_MM, LINE_EM, WIDTH_MM, in_em, lines
from chainsim.listen.sheets.templates import filled
from chainsim.listen.sheets.text_table import column_widths

TEMPLATE = "document.html.j2"
LARGEST_PT, SMALLEST_PT = 11.0, 7.5
"""Sizes for one page."""
GOOD_PT, LEAST_GOOD_PT = 9.0, 8.25
"""Sizes where even the smallest letters are too large for one page, for as few pages as that takes."""
_STEP_PT = 0.25
_LETTER_EM = 0.57
_TITLE_EM, _SHORT_SIZE, _HEADING_EM, _RULE_EM, _PARAGRAPH_EM = 2.2, 1.15, 2.1, 0.16, 0.3
_HEAD_SIZE, _CAUTION_SIZE = 0.8, 0.9


@dataclass(frozen=True)
class PagePart:
    """A part with the width of each column of its table, in percent."""

    heading: str
    table: Table | None
    widths: tuple[float, ...]
    lines: tuple[str, ...]
    counted: bool


def document_page(document: Document) -> str:
    """Lay a sheet out as HTML, to be printed on A4 or Letter: on one page if that can be read.

    Returns
    -------
    str
        A whole document. Every name in it is escaped.
    """
    pt = _largest_pt(document, LARGEST_PT, SMALLEST_PT, 1)
    if pt is None:
        few = math.ceil(_pages(document, LEAST_GOOD_PT))
        pt = _largest_pt(document, GOOD_PT, LEAST_GOOD_PT, few) or LEAST_GOOD_PT
    parts = [_laid_out(part, in_em(WIDTH_MM, pt)) for part in document.parts if part.says_something]
    return filled(TEMPLATE, document=document, parts=parts, print_pt=pt)


def _largest_pt(document: Document, largest_pt: float, smallest_pt: float, pages: int) -> float | None:
    pt = largest_pt
    while pt >= smallest_pt:
        if _pages(document, pt) <= pages:
            return pt
        pt -= _STEP_PT
    return None


def _pages(document: Document, pt: float) -> float:
    return _height_em(document, in_em(WIDTH_MM, pt)) / in_em(HEIGHT_MM, pt)


def _laid_out(part: Part, width_em: float) -> PagePart:
    table = None if part.table is None or not part.table.rows else part.table.without_empty_columns()
    shares = () if table is None else _shares(table, width_em)
    return PagePart(part.heading, table, tuple(round(100.0 * share, 1) for share in shares), part.lines, part.counted)


def _shares(table: Table, width_em: float) -> tuple[float, ...]:
    """The share of the width that each column takes: by its words, what is free going to all alike."""
    padding = CELL_EM / _LETTER_EM
    room = int(width_em / _LETTER_EM - padding * len(table.head))
    # Between its columns a table in characters has a gap that a printed one has as padding; here names break at
    # underscores, too.
    cells = [[cell.replace("_", " ") for cell in row] for row in (table.head, *table.rows)]
    widths = column_widths(cells, room + 2 * (len(table.head) - 1))
    wide = [w + padding for w in widths]
    return tuple(w / sum(wide) for w in wide)


def _height_em(document: Document, width_em: float) -> float:
    short = sum(_SHORT_SIZE * LINE_EM * lines(s, width_em / _SHORT_SIZE, bold=True) for s in document.in_short)
    cautions = sum(_CAUTION_SIZE * LINE_EM * lines(c, width_em / _CAUTION_SIZE, bold=True) for c in document.cautions)
    parts = sum(_part_em(part, width_em) for part in document.parts if part.says_something)
    free = _PARAGRAPH_EM * (len(document.in_short) + len(document.cautions)) + 0.8
    return _TITLE_EM * lines(document.name, width_em / 1.9, bold=True) + short + parts + cautions + free


def _part_em(part: Part, width_em: float) -> float:
    words = sum(LINE_EM * lines(line, width_em - 2.0) + _PARAGRAPH_EM for line in part.lines)
    if part.table is None or not part.table.rows:
        return _HEADING_EM + words
    table = part.table.without_empty_columns()
    widths = [share * width_em - CELL_EM for share in _shares(table, width_em)]
    head = _HEAD_SIZE * max(lines(h, w / _HEAD_SIZE) for h, w in zip(table.head, widths, strict=True)) + _RULE_EM
    head *= table.has_head
    rows = sum(
        LINE_EM * max(lines(c, w, bold=i == 0) for i, (c, w) in enumerate(zip(row, widths, strict=True))) + _RULE_EM
        for row in table.rows
    )
    return _HEADING_EM + LINE_EM * head + rows + words
