"""The stage sheet laid out: lines that fit, a page that is whole, safe and legible, and all that has to stand on it."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from chainsim.listen.stage_sheet.as_text import sheet_text
from chainsim.listen.stage_sheet.page import sheet_page
from chainsim.listen.stage_sheet.print_size import LARGEST_PT, SMALLEST_PT
from chainsim.listen.stage_sheet.sheet import StageSheet, stage_sheet
from chainsim.listen.stage_sheet.text_table import text_table
from chainsim.sketch.loading import load_sketch, parse_sketch
from tests.listen.test_stage_sheet import CONTROLLED, CUES, IN_KEY, MARKED, SET

VOID = {"meta", "wbr", "col", "br", "hr", "img", "input", "link"}


class Page(HTMLParser):
    """Reads a page; fails where an element is closed that was not open last."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)
        self.close()
        assert self.open == []
        self.text = " ".join(self.text.split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data + " "

    def count(self, tag: str) -> int:
        return sum(name == tag for name, _ in self.elements)


def print_pt(page: str) -> float:
    """Size of the letters on paper."""
    found = re.search(r"@media print \{.*?font-size: ([0-9.]+)pt", page, flags=re.S)
    assert found is not None
    return float(found[1])


def sheet(text: str) -> StageSheet:
    return stage_sheet(parse_sketch(text))


LONG = "a_name_that_goes_on_and_on_without_end_as_if_it_had_all_the_room_in_the_world_and_more_than_that"
WIDE = f"""
title = "{LONG} {LONG}"
chain = ["hall"]
[blocks.hall]
type = "reverb"
[patches.{LONG}]
midi_program = 127
midi_bank = 16383
[[banks]]
name = "{LONG}"
patches = ["{LONG}"]
[[switches]]
name = "{LONG}"
press = "patch {LONG}"
second_press = "back"
hold = "patch {LONG}"
midi_cc = 119
[[cues]]
at_s = 0
patch = "{LONG}"
""" + "".join(f"[rooms.{LONG}_{k}.blocks.hall]\ndecay_s = {k + 1}\n" for k in range(5))


def delays(count: int) -> str:
    """A sketch with so many delays, seven settings each."""
    names = [f"echo_{k}" for k in range(count)]
    own = 'time_ms = 300\nmodulation_depth_ms = 1\nstereo = "crossed"\n'
    blocks = (f'[blocks.{name}]\ntype = "delay"\n{own}' for name in names)
    return "chain = [{}]\n".format(", ".join(f'"{name}"' for name in names)) + "".join(blocks)


MANY = delays(40)

SKETCHES = {
    "set": SET + CUES, "in key": IN_KEY, "controlled": CONTROLLED, "wide": WIDE, "many": MANY, "empty": "chain = []",
    "marked": MARKED.format(decay=1, space="hall", wet=-20, time=300),
}  # fmt: skip


@pytest.mark.parametrize("text", SKETCHES.values(), ids=SKETCHES)
def test_no_line_is_wider_than_80(text: str) -> None:
    lines = sheet_text(sheet(text)).splitlines()
    assert max(map(len, lines)) <= 80
    assert [line for line in lines if line != line.rstrip()] == []


@pytest.mark.parametrize("text", SKETCHES.values(), ids=SKETCHES)
def test_a_page_is_whole_and_tells_its_tables(text: str) -> None:
    page = Page(sheet_page(sheet(text)))
    assert page.count("table") == page.count("caption")
    assert {a.get("scope") for tag, a in page.elements if tag == "th"} <= {"col", "row", "rowgroup"}
    assert page.count("h1") == page.count("main") == page.count("title") == 1


@pytest.mark.parametrize("path", sorted(Path("presets").glob("*.toml")), ids=lambda p: p.stem)
def test_every_preset_can_be_laid_out(path: Path) -> None:
    told = stage_sheet(load_sketch(path))
    assert max(map(len, sheet_text(told).splitlines())) <= 80
    assert told.title in Page(sheet_page(told)).text


def test_first_comes_what_the_foot_needs() -> None:
    text = sheet_text(sheet(SET + CUES))
    places = [text.index(word) for word in ("BANK 1: Quay", "BANK 2: Steps", "SWITCHES", "CUES", "SETTINGS")]
    assert places == sorted(places)
    assert "second_press" not in text
    assert "TOO FAST" in text


def test_a_page_loads_nothing_and_runs_nothing() -> None:
    page = sheet_page(sheet(SET + CUES))
    elements = Page(page).elements
    assert not {tag for tag, _ in elements} & {"script", "link", "img", "iframe", "object", "embed", "form"}
    assert not {name for _, a in elements for name in a} & {"src", "href", "onload", "onclick"}
    assert "url(" not in page
    assert "@import" not in page


def test_names_are_escaped() -> None:
    evil = "<script>alert('&')</script>"
    text = f'title = "{evil}"\nchain = ["gain"]\n[patches."{evil}"]\n[[banks]]\nname = "{evil}"\npatches = ["{evil}"]\n'
    text += f'[[switches]]\nname = "{evil}"\npress = "patch {evil}"\n[rooms."{evil}".blocks.gain]\ngain_db = 1\n'
    text += f'[[cues]]\nat_s = 0\npatch = "{evil}"\n[controllers."{evil}"]\ntype = "lfo"\n'
    text += f'[marks.gain.gain_db]\nknob = "{evil}"\nat = [[0, "{evil}"]]\n'
    page = Page(sheet_page(sheet(text)))
    assert page.count("script") == 0
    assert page.text.count(evil) >= 9  # title twice, patch, bank, switch, its press and lamp, cue, room, knob and mark


def test_names_cannot_command_a_terminal() -> None:
    text = sheet_text(sheet('title = "red\\u001b[31m\\nalert\\u0007"\nchain = ["gain"]'))
    assert all(c.isprintable() or c == "\n" for c in text)
    assert "red [31m alert" in text


def test_midi_numbers_from_0_and_from_1() -> None:
    told = sheet(SET)
    assert re.search(r"^1  chorale .* 1:4 +2:5$", sheet_text(told), flags=re.M)
    assert "MIDI 1:4 (2:5)" in Page(sheet_page(told)).text


def test_what_all_patches_of_a_bank_bring_is_told_once() -> None:
    text = 'chain = ["gain"]\n[patches.a]\ntempo_bpm = 88\n[patches.b]\ntempo_bpm = 88\nkey = "C major"\n'
    told = sheet_text(sheet(text + '[[banks]]\nname = "Noon"\npatches = ["a", "b"]\n'))
    assert "BANK 1: Noon - 88 bpm" in told
    assert told.count("88 bpm") == 1
    assert re.search(r"^2  b .*C major$", told, flags=re.M)


@pytest.mark.parametrize("text", [SET + CUES, CONTROLLED, MANY], ids=["set", "controlled", "many"])
def test_every_value_stands_on_both(text: str) -> None:
    told = sheet(text)
    page, plain = Page(sheet_page(told)).text, "".join(sheet_text(told).split())
    values = [c.text for row in told.settings for c in row.cells if c.text]
    assert values
    for value in values:
        assert value in page
    short = [value for value in values if len(value) < 12]  # longer ones may go on below, beside their neighbours
    for value in short:
        assert "".join(value.split()) in plain


def test_letters_get_smaller_as_the_page_fills_up_to_where_lines_are_shared() -> None:
    sizes = [print_pt(sheet_page(sheet(delays(count)))) for count in (1, 8, 16, 20, 24)]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] == LARGEST_PT
    assert LARGEST_PT > sizes[-1] > SMALLEST_PT


def test_settings_share_lines_only_where_the_page_would_be_too_long() -> None:
    def rows(text: str) -> int:
        return Page(sheet_page(sheet(text))).count("tr")

    told = sheet(MANY)
    assert rows(MANY) < len(told.settings) / 3
    few = 'chain = ["delay"]'
    assert rows(few) == len(sheet(few).settings) + 2  # and the head of the table, and the block's name


def test_dark_colours_stay_on_the_screen() -> None:
    page = sheet_page(sheet(SET))
    assert page.count("prefers-color-scheme: dark") == page.count("@media screen and (prefers-color-scheme: dark)") == 1


def test_a_table_wraps_what_is_too_long() -> None:
    table = text_table(["name", "a long head"], [["one", "x y z " * 6], ["  two", "short"]], 20)
    assert table.splitlines() == [
        "name   a long head",
        "-----  -------------",
        "one    x y z x y z x",
        "       y z x y z x y",
        "       z x y z",
        "  two  short",
    ]
