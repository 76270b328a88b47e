"""The stage sheet as a browser prints it: the pages that it takes, on A4 and on Letter."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from chainsim.listen.sheets.stage_sheet.page import sheet_page
from chainsim.listen.sheets.stage_sheet.sheet import stage_sheet
from chainsim.sketch.loading import load_sketch, parse_sketch
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
