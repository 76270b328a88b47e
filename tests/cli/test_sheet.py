"""`chainsim sheet`: text, page and JSON, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import complaint, names, ran, sketch_file

SET = """
title = "Ropewalk"
tempo_bpm = 138
chain = ["echo"]
[blocks.echo]
type = "delay"
note = "1/8 dotted"
[patches.plain]
engage = []
[patches.answered]
[[banks]]
name = "Quay"
patches = ["plain", "answered"]
[[switches]]
name = "A"
press = "place 1"
[rooms.chapel.blocks.echo]
wet_db = -20
"""


def test_it_prints_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "sheet", sketch_file(tmp_path, SET))
    assert told.code == 0
    assert told.out.startswith("Ropewalk\n========\n138 bpm")
    assert "1/8 dotted = 326 ms at 138" in " ".join(told.out.split())  # 60 000 / 138 x 3/4
    assert "chapel" in told.out
    assert "Mains and phantom supply" in told.out
    assert told.out.endswith(".\n")
    assert names(tmp_path) == ["sketch.toml"]


def test_it_writes_a_page_and_a_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, SET)
    page = ran(capsys, "sheet", sketch, "-o", tmp_path / "sheet.html")
    assert page.code == 0
    assert page.out == f"{tmp_path / 'sheet.html'}: 1 bank, 2 patches, 1 switch, 0 cues\n"
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert ran(capsys, "sheet", sketch, "-o", tmp_path / "SHEET.TXT").code == 0
    assert (tmp_path / "SHEET.TXT").read_text(encoding="utf-8") == ran(capsys, "sheet", sketch).out
    assert names(tmp_path) == ["SHEET.TXT", "sheet.html", "sketch.toml"]


def test_json_for_programs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = json.loads(ran(capsys, "sheet", sketch_file(tmp_path, SET), "--json").out)
    assert told["banks"][0]["patches"][1]["name"] == "answered"
    wet = next(r for r in told["settings"] if r["setting"] == "wet")
    assert [c["text"] for c in wet["cells"]] == ["-6 dB", "-20 dB"]


def test_one_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, SET)
    told = ran(capsys, "sheet", sketch, "--room", "chapel").out
    assert told.startswith("Ropewalk - chapel\n")
    assert "-20 dB" in told
    assert "-6 dB" not in told
    assert complaint(ran(capsys, "sheet", sketch, "--room", "chapl")) == 'no room "chapl"; did you mean "chapel"?'


def test_what_the_sketch_says_in_vain_is_warned_of(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "sheet", sketch_file(tmp_path, 'chain = []\n[blocks.spare]\ntype = "pan"'))
    assert "warning: blocks.spare: declared but in no chain" in told.err


@pytest.mark.parametrize(
    ("output", "says"),
    [
        ("sheet.pdf", "for a PDF write .html and print it from a browser"),
        ("sheet.htm", 'did you mean ".html"?'),
        ("sheet", "allowed .html | .txt"),
        ("none/sheet.html", "does not exist"),
        ("set.txt", "is the sketch itself"),
    ],
)
def test_outputs_that_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], output: str, says: str) -> None:
    sketch = sketch_file(tmp_path, SET, "set.txt")
    assert says in complaint(ran(capsys, "sheet", sketch, "-o", tmp_path / output))
    assert names(tmp_path) == ["set.txt"]
    assert sketch.read_text(encoding="utf-8") == SET


def test_faults_of_the_sketch_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = ran(capsys, "sheet", sketch_file(tmp_path, 'chain = ["ehco"]'), "-o", tmp_path / "sheet.html")
    assert complaint(bad).startswith('sketch.toml: chain: no block "ehco"')
    assert "cannot be read" in complaint(ran(capsys, "sheet", tmp_path / "none.toml"))
    assert names(tmp_path) == ["sketch.toml"]


def test_help_tells_how_to_get_a_pdf(capsys: pytest.CaptureFixture[str]) -> None:
    told = " ".join(ran(capsys, "sheet", "--help").out.split())
    assert "For a PDF, open it in a browser and print it into a file" in told
    assert "chainsim sheet harbour_day.toml -o sheet.html" in told
