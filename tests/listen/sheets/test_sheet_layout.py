"""The stage sheet laid out: lines that fit, a page that is whole, safe and legible, and all that has to stand on it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from chainsim.listen.sheets.print_size import lines
from chainsim.listen.sheets.stage_sheet.as_text import sheet_text
from chainsim.listen.sheets.stage_sheet.cue_lines import CueLine
from chainsim.listen.sheets.stage_sheet.page import sheet_page
from chainsim.listen.sheets.stage_sheet.playing_part import cue_columns
from chainsim.listen.sheets.stage_sheet.sheet import StageSheet, stage_sheet
from chainsim.listen.sheets.text_table import text_table
from chainsim.sketch.loading import load_sketch, parse_sketch
from tests.listen.sheets.stage_sheet.sketches import CONTROLLED, CUES, IN_KEY, MARKED, SET

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


@dataclass(frozen=True)
class OnPaper:
    """Sizes of the letters on paper, and whether the set-up is on a page of its own."""

    playing_pt: float
    set_up_pt: float
    overleaf: bool


def on_paper(text: str) -> OnPaper:
    style = r"body \{[^}]*font-size: ([0-9.]+)pt.*?\.set-up \{ font-size: ([0-9.]+)pt(; break-before: page)?"
    found = re.search(f"@media print .*?{style}", sheet_page(sheet(text)), flags=re.S)
    assert found is not None
    return OnPaper(float(found[1]), float(found[2]), found[3] is not None)


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
    assert re.search(r"^1  A +chorale .* 1:4 +2:5$", sheet_text(told), flags=re.M)
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


def test_letters_get_smaller_as_the_page_fills_up() -> None:
    sizes = [on_paper(delays(count)) for count in (1, 12, 13)]
    assert [s.playing_pt for s in sizes] == sorted((s.playing_pt for s in sizes), reverse=True)
    assert sizes[0].playing_pt > sizes[-1].playing_pt


def test_without_anything_to_play_from_there_is_no_page_for_it() -> None:
    assert not any(on_paper(delays(count)).overleaf for count in (1, 40, 200))


def played(delay_count: int, cue_count: int) -> str:
    """A set with so many delays to set up, and so many cues."""
    patches = '[patches.plain]\nengage = []\n[patches.all]\n[[banks]]\nname = "One"\npatches = ["plain", "all"]\n'
    switches = "".join(f'[[switches]]\nname = "{n}"\npress = "place {k}"\n' for k, n in enumerate("AB", 1))
    cues = "".join(f'[[cues]]\nat_s = {4 * k}\npatch = "{("plain", "all")[k % 2]}"\n' for k in range(cue_count))
    return delays(delay_count) + patches + switches + cues


@pytest.mark.parametrize(("delay_count", "cue_count"), [(1, 4), (4, 24), (12, 24), (30, 60), (40, 150)])
def test_what_is_played_from_has_the_larger_letters(delay_count: int, cue_count: int) -> None:
    sizes = on_paper(played(delay_count, cue_count))
    # A set-up on pages of its own is beside nothing that it could be taken for.
    assert sizes.playing_pt >= (1.0 if sizes.overleaf else 1.3) * sizes.set_up_pt
    assert sizes.set_up_pt >= 7.5


def test_a_long_set_up_goes_overleaf_rather_than_that_cues_get_small() -> None:
    short, long = on_paper(played(12, 24)), on_paper(played(30, 60))
    assert not short.overleaf
    assert long.overleaf
    assert long.playing_pt >= short.playing_pt
    page = sheet_page(sheet(played(30, 60)))
    assert "untitled: Set-up" in Page(page).text


def test_cautions_take_their_lines_on_paper() -> None:
    well = CueLine(0.0, "bar 5", "swept", ("B",))
    too_fast = replace(well, caution="TOO FAST: 0.43 s, this foot needs 0.57 s")
    # 40 bold letters of 0.65 em, in letters of 0.9 of the size 23.4 em, beside "bar 5" in 15 em: two lines, or three
    more_em = cue_columns([too_fast], 15.0).height_em - cue_columns([well], 15.0).height_em
    assert 2 * 0.9 <= more_em <= 3 * 0.9 * 1.3


@pytest.mark.parametrize(
    ("text", "letters", "expected"),
    [
        ("", 10, 1),
        ("one two", 7, 1),
        ("one two", 6, 2),
        ("torches_abreast", 15, 1),
        ("torches_abreast", 14, 2),  # torches_ / abreast
        ("abcdefghij", 4, 3),
        ("a abcdefghij", 4, 4),
    ],
)
def test_lines_that_words_take(text: str, letters: int, expected: int) -> None:
    assert lines(text, 0.57 * letters + 0.01) == expected  # 0.57 em: mean of DejaVu Sans in English


def test_cues_stand_in_columns_of_one_height() -> None:
    told = [CueLine(k, f"bar {k}", "plain", ("A",), "TOO FAST, by far" if k > 6 else "") for k in range(1, 13)]
    columns = cue_columns(told, 60.0).columns
    assert [c for column in columns for c in column] == told
    heights = [sum(2 if c.caution else 1 for c in column) for column in columns]
    assert len(columns) == 3
    assert max(heights) - min(heights) <= 2


def test_columns_of_the_switches_in_which_nothing_stands_are_left_out() -> None:
    heads = ("second press", "hold", "lamp shows", "MIDI")
    full = sheet_page(sheet(SET))
    assert all(f'<th scope="col">{head}</th>' in full for head in heads)
    bare = 'chain = ["gain"]\n[patches.a]\n[[switches]]\nname = "A"\npress = "tap"\nlamp = "none"\n'
    page = sheet_page(sheet(bare))
    assert not any(f'<th scope="col">{head}</th>' in page for head in heads)
    assert '<th scope="col">press</th>' in page


def test_names_of_rooms_break_at_underscores() -> None:
    page = sheet_page(sheet(SET.replace("[rooms.chapel", "[rooms.customs_hall")))
    assert '<th scope="col">customs_<wbr>hall</th>' in page


@pytest.mark.parametrize("name", ["customs_hall", "conservatory", "x"])
def test_the_column_of_a_room_holds_the_longest_part_of_its_name(name: str) -> None:
    page = sheet_page(sheet(SET.replace("[rooms.chapel", f"[rooms.{name}")))
    share = re.search(r'<col style="width: ([0-9.]+)%">', page)
    size = re.search(r"\.set-up \{ font-size: ([0-9.]+)pt", page)
    assert share is not None
    assert size is not None
    columns = page.count('<caption class="unseen">Settings by block')
    # narrowest paper: 194 mm between the margins; heads have letters of 0.8 of the size, of 0.57 em each
    room_em = float(share[1]) / 100.0 * 194.0 / columns / (float(size[1]) * 25.4 / 72.0)
    assert room_em >= 0.8 * 0.57 * max(map(len, name.split("_")))


def test_a_patch_is_told_with_what_the_foot_does_for_it() -> None:
    told = sheet(SET)
    assert re.search(r"^1  A +plain", sheet_text(told), flags=re.M)
    assert re.search(r"^1  A +chorale", sheet_text(told), flags=re.M)
    assert '<b class="key">B</b>' in sheet_page(told)
    assert " press " not in sheet_text(sheet('chain = ["gain"]\n[patches.a]\n'))


def test_cues_in_seconds_are_found_by_bars_among_bars() -> None:
    text = 'tempo_bpm = 120\nchain = ["gain"]\n[patches.a]\n[[cues]]\nat_bar = "3"\npatch = "a"\n'
    told = sheet(text + "[[cues]]\nat_s = 5.26\nmute = true\n")
    assert re.search(r"^bar 3 +4.00 s +a$", sheet_text(told), flags=re.M)
    assert re.search(r"^bar 3:3.5 +5.26 s +mute on$", sheet_text(told), flags=re.M)  # 1.26 s at 0.5 s a beat
    assert "5.26 s" in Page(sheet_page(told)).text


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


def test_a_table_breaks_no_word_while_another_column_can_give_way() -> None:
    table = text_table(["", "name", "on"], [["1", "torches_in_file", "a b c d e f g h i j"]], 26)
    assert table.splitlines()[2:] == [
        "1  torches_in_file  a b c",
        "                    d e f",
        "                    g h i",
        "                    j",
    ]


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
