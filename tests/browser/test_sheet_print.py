"""Sheets as a browser prints them: the pages that they take, on A4 and on Letter."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from chainsim.listen.sheets.document import Document
from chainsim.listen.sheets.document_page import document_page
from chainsim.listen.sheets.failure_sheet.as_document import failure_document
from chainsim.listen.sheets.failure_sheet.sheet import failure_sheet
from chainsim.listen.sheets.house_sheet.as_document import house_document
from chainsim.listen.sheets.house_sheet.figures import FeedLevels, HouseFigures, LargestGain, PatchFigures, WayIn
from chainsim.listen.sheets.house_sheet.sheet import house_sheet
from chainsim.listen.sheets.stage_sheet.page import sheet_page
from chainsim.listen.sheets.stage_sheet.sheet import stage_sheet
from chainsim.listen.sheets.wiring_sheet.as_document import wiring_document
from chainsim.listen.sheets.wiring_sheet.sheet import wiring_sheet
from chainsim.sketch.loading import load_sketch, parse_sketch
from chainsim.sketch.model import Sketch
from tests.browser.conftest import OpenPage
from tests.listen.sheets.stage_sheet.sketches import CONTROLLED, CUES, IN_BARS, SET
from tests.listen.sheets.test_sheet_layout import delays, played

HURRIED = SET + "".join(
    f'[[cues]]\nat_s = {0.3 * k}\npatch = "{("plain", "swept", "chorale")[k % 3]}"\n' for k in range(1, 25)
)
"""Cues that come too fast for any foot: each has a caution of several lines."""

PAPERS = ("A4", "Letter")
PAGES = {
    "set": (SET + CUES, 1),
    "hurried": (HURRIED, 1),
    "in bars": (IN_BARS, 1),
    "controlled": (CONTROLLED, 1),
    "nothing to play from": (delays(16), 1),
    "much to set up": (delays(40), 1),
    "much of both": (played(30, 60), 2),
}


@cache
def harbour_day() -> Sketch:
    return load_sketch(Path("presets/harbour_day.toml"))


@cache
def page_of_harbour_day(made: Callable[[Sketch], Document]) -> str:
    return document_page(made(harbour_day()))


def printed_pages(page: Any, paper: str) -> int:
    """How many pages a browser makes of it: page objects of the PDF (ISO 32000-1, 7.7.3.3)."""
    page.add_style_tag(content=f"@page {{ size: {paper} }}")
    return len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True)))


def smallest_pt(page: Any) -> float:
    """The smallest letters on paper; a CSS pixel is 3/4 of a point (CSS Values and Units 3, 6.2)."""
    page.emulate_media(media="print")
    return 0.75 * float(
        page.evaluate(
            """() => Math.min(...[...document.querySelectorAll("body *:not(.unseen)")]
            .filter((one) => [...one.childNodes].some((n) => n.nodeType === 3 && n.data.trim()))
            .map((one) => parseFloat(getComputedStyle(one).fontSize)))"""
        )
    )


@pytest.mark.parametrize(("text", "pages"), PAGES.values(), ids=PAGES)
def test_a_sheet_takes_the_pages_it_is_laid_out_for(text: str, pages: int, open_page: OpenPage) -> None:
    page = open_page(sheet_page(stage_sheet(parse_sketch(text))))
    assert {paper: printed_pages(page, paper) for paper in PAPERS} == dict.fromkeys(PAPERS, pages)


def test_long_names_leave_the_other_columns_their_width(open_page: OpenPage) -> None:
    long = "from_the_customs_house_to_the_arcade_wall"
    text = f'chain = ["{long}", "echo_{long}"]\n[blocks.{long}]\ntype = "gain"\n[blocks.echo_{long}]\ntype = "delay"'
    page = open_page(document_page(wiring(parse_sketch(text))))
    page.emulate_media(media="print")
    widths = page.eval_on_selector_all("thead tr:first-child th", "all => all.map((th) => th.offsetWidth)")[:5]
    assert widths[-1] > 0.15 * sum(widths)  # of five columns, the words of the last; without breaks in names a tenth
    wide = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
    assert not page.evaluate(wide)


def test_a_full_set_has_a_page_to_play_from_and_one_to_set_up(open_page: OpenPage) -> None:
    page = open_page(sheet_page(stage_sheet(harbour_day())))
    assert smallest_pt(page) >= 7.5 - 1e-6
    set_up_px = page.eval_on_selector(".settings td", "cell => parseFloat(getComputedStyle(cell).fontSize)")
    assert 0.75 * set_up_px >= 8.0  # the page is not full
    assert {paper: printed_pages(page, paper) for paper in PAPERS} == dict.fromkeys(PAPERS, 2)


def test_on_a_telephone_banks_take_the_width(open_page: OpenPage) -> None:
    page = open_page(sheet_page(stage_sheet(harbour_day())), width=360)
    widths = page.eval_on_selector_all(".bank", "all => all.map((bank) => bank.offsetWidth)")
    assert min(widths) > 0.9 * 360 - 32  # less the page's margins of 16 px


def measured(sketch: Sketch) -> HouseFigures:
    """Figures as long as they get."""
    ways = tuple(WayIn(f"passive box {k}:1, microphone input", -30.0, -20.0, 20.0, 34.0, False) for k in (5, 10, 12))
    levels = FeedLevels(-8.0, 2.0, -70.0, phantom=True, ways=ways)
    patches = tuple(PatchFigures(name, -16.4, -3.2, 104.0, 1.2) for name in sketch.patches)
    return HouseFigures("lantern_waltz_alto_sax.flac", 12.0, patches, levels, LargestGain("all_hands", 6.2, 812.0))


def wiring(sketch: Sketch) -> Document:
    return wiring_document(wiring_sheet(sketch))


def house(sketch: Sketch) -> Document:
    return house_document(house_sheet(sketch, figures=measured(sketch)))


def failures(sketch: Sketch) -> Document:
    return failure_document(failure_sheet(sketch))


@pytest.mark.parametrize(("made", "pages"), [(wiring, 2), (house, 1), (failures, 1)])  # 51 rows of cables
def test_other_sheets_of_a_full_set(
    made: Callable[[Sketch], Document], pages: int, open_page: OpenPage, axe: Callable[[Any], list[dict[str, Any]]]
) -> None:
    page = open_page(page_of_harbour_day(made))
    assert [found["id"] for found in axe(page)] == []
    assert smallest_pt(page) >= 7.5 - 1e-6
    assert {paper: printed_pages(page, paper) for paper in PAPERS} == dict.fromkeys(PAPERS, pages)


@pytest.mark.parametrize("made", [wiring, house, failures])
def test_on_a_telephone_nothing_is_out_of_sight(made: Callable[[Sketch], Document], open_page: OpenPage) -> None:
    page = open_page(page_of_harbour_day(made), width=360)
    cells = page.locator("tbody [role=rowheader], tbody [role=cell]:not(:empty)")
    right_px = cells.evaluate_all("all => all.map((cell) => cell.getBoundingClientRect().right + cell.scrollLeft)")
    assert max(right_px) <= 360 - 16  # the page's margin
    assert cells.evaluate_all("all => all.every((cell) => cell.scrollWidth <= cell.clientWidth)")
    named = "all => all.map((c) => [c.dataset.column, getComputedStyle(c, '::before').content])"
    assert all(head in shown for head, shown in cells.evaluate_all(named) if head)
    # A reader still finds a table's heads and cells.
    assert page.get_by_role("columnheader").count() > 0
    assert page.get_by_role("cell").count() > 0
