"""What stands where on a printed sheet, and in how large letters.

What is read while playing has the larger letters. All stands on one page as long as it can be read there; else the
set-up, which is read before the show, begins a page of its own, and both have theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from chainsim.listen.sheets.print_size import HEIGHT_MM, WIDTH_MM, in_em
from chainsim.listen.sheets.stage_sheet.playing_part import CueColumns, cue_columns, playing_em
from chainsim.listen.sheets.stage_sheet.set_up_part import (
    BlockRows,
    SettingColumns,
    block_rows,
    set_up_em,
    setting_columns,
)
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet

LARGEST_PT, SMALLEST_PT = 12.0, 9.0
"""Sizes of what is read while playing."""
LARGEST_SET_UP_PT, SMALLEST_SET_UP_PT = 9.0, 7.75
"""Sizes of the set-up; if it would get smaller on one page, it goes overleaf, there on as many as it takes."""
TIMES_LARGER = 1.35
"""On one page, what is read while playing has letters so much larger than the set-up."""
_STEP_PT = 0.25


@dataclass(frozen=True)
class Layout:
    """A sheet on paper.

    Attributes
    ----------
    playing_pt, set_up_pt : float
    cues : CueColumns
    settings : SettingColumns
    overleaf : bool
        Whether the set-up begins a page of its own.
    """

    playing_pt: float
    set_up_pt: float
    cues: CueColumns
    settings: SettingColumns
    overleaf: bool


def fitting_layout(sheet: StageSheet) -> Layout:
    """The largest letters with which everything fits; the smallest there are if even those are too large."""
    apart, together = (block_rows(sheet.settings, together=t) for t in (False, True))
    plays = bool(sheet.banks or sheet.in_no_bank or sheet.switches or sheet.cues)
    for blocks in (apart, together):
        for pt in _sizes(LARGEST_PT, TIMES_LARGER * SMALLEST_SET_UP_PT):
            layout = _layout(sheet, blocks, pt, min(pt / TIMES_LARGER, LARGEST_SET_UP_PT), overleaf=False)
            if _playing_mm(sheet, layout) + _set_up_mm(sheet, layout) <= HEIGHT_MM:
                return layout
    if not plays:
        return _layout(sheet, together, TIMES_LARGER * SMALLEST_SET_UP_PT, SMALLEST_SET_UP_PT, overleaf=False)
    return _on_two_pages(sheet, apart, together)


def _on_two_pages(sheet: StageSheet, apart: list[BlockRows], together: list[BlockRows]) -> Layout:
    layouts = (_layout(sheet, apart, pt, SMALLEST_SET_UP_PT, overleaf=True) for pt in _sizes(LARGEST_PT, SMALLEST_PT))
    playing_pt = next((x.playing_pt for x in layouts if _playing_mm(sheet, x) <= HEIGHT_MM), SMALLEST_PT)
    for blocks in (apart, together):
        for pt in _sizes(LARGEST_SET_UP_PT, SMALLEST_SET_UP_PT):
            layout = _layout(sheet, blocks, playing_pt, pt, overleaf=True)
            if _set_up_mm(sheet, layout) <= HEIGHT_MM:
                return layout
    return _layout(sheet, together, playing_pt, SMALLEST_SET_UP_PT, overleaf=True)


def _layout(
    sheet: StageSheet, blocks: list[BlockRows], playing_pt: float, set_up_pt: float, *, overleaf: bool
) -> Layout:
    return Layout(
        playing_pt,
        set_up_pt,
        cue_columns(sheet.cues, in_em(WIDTH_MM, playing_pt)),
        setting_columns(blocks, sheet.columns[1:], in_em(WIDTH_MM, set_up_pt)),
        overleaf,
    )


def _playing_mm(sheet: StageSheet, layout: Layout) -> float:
    em_mm = WIDTH_MM / in_em(WIDTH_MM, layout.playing_pt)
    return em_mm * playing_em(sheet, layout.cues, in_em(WIDTH_MM, layout.playing_pt))


def _set_up_mm(sheet: StageSheet, layout: Layout) -> float:
    em_mm = WIDTH_MM / in_em(WIDTH_MM, layout.set_up_pt)
    return em_mm * set_up_em(sheet, layout.settings, in_em(WIDTH_MM, layout.set_up_pt))


def _sizes(largest_pt: float, smallest_pt: float) -> Iterator[float]:
    """Sizes to try, the largest first."""
    pt = largest_pt
    while pt >= smallest_pt:
        yield pt
        pt -= _STEP_PT
