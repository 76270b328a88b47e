"""Sheets as a browser prints them: the pages that they take, on A4 and on Letter."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

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
from tests.listen.sheets.test_sheet_layout import delays, played
from tests.listen.sheets.test_stage_sheet import CONTROLLED, CUES, IN_BARS, SET

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs a Chromium to print with")

HURRIED = SET + "".join(
    f'[[cues]]\nat_s = {0.3 * k}\npatch = "{("plain", "swept", "chorale")[k % 3]}"\n' for k in range(1, 25)
)
"""Cues that come too fast for any foot: each has a caution of several lines."""

PAGES = {
    "set": (SET + CUES, 1),
    "hurried": (HURRIED, 1),
    "in bars": (IN_BARS, 1),
    "controlled": (CONTROLLED, 1),
    "nothing to play from": (delays(16), 1),
    "much to set up": (delays(40), 1),
    "much of both": (played(30, 60), 2),
}


def printed_pages(page: str, paper: str, folder: Path) -> int:
    """How many pages a browser makes of it: page objects of the PDF (ISO 32000-1, 7.7.3.3)."""
    assert BROWSER is not None
    (folder / "sheet.html").write_text(page.replace("@page {", f"@page {{ size: {paper};"), encoding="utf-8")
    command = [
        BROWSER, "--headless=new", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
        f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={folder / 'sheet.pdf'}",
        (folder / "sheet.html").as_uri(),
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    return len(re.findall(rb"/Type\s*/Page\b", (folder / "sheet.pdf").read_bytes()))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("text", "pages"), PAGES.values(), ids=PAGES)
def test_a_sheet_takes_the_pages_it_is_laid_out_for(text: str, pages: int, paper: str, tmp_path: Path) -> None:
    assert printed_pages(sheet_page(stage_sheet(parse_sketch(text))), paper, tmp_path) == pages


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_full_set_has_a_page_to_play_from_and_one_to_set_up(paper: str, tmp_path: Path) -> None:
    page = sheet_page(stage_sheet(load_sketch(Path("presets/harbour_day.toml"))))
    assert printed_pages(page, paper, tmp_path) == 2


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


@pytest.mark.parametrize(
    ("made", "paper", "pages"),
    [(wiring, "A4", 2), (house, "A4", 1), (house, "Letter", 1), (failures, "Letter", 1)],  # 51 rows of cables
)
def test_other_sheets_of_a_full_set(made: Callable[[Sketch], Document], paper: str, pages: int, tmp_path: Path) -> None:
    page = document_page(made(load_sketch(Path("presets/harbour_day.toml"))))
    assert printed_pages(page, paper, tmp_path) == pages
