"""`chainsim sheet`: text, page and JSON, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file

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
        ("set.txt", "is the file set.txt itself"),
    ],
)
def test_outputs_that_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], output: str, says: str) -> None:
    sketch = sketch_file(tmp_path, SET, "set.txt")
    assert says in complaint(ran(capsys, "sheet", sketch, "-o", tmp_path / output))
    assert names(tmp_path) == ["set.txt"]
    assert sketch.read_text(encoding="utf-8") == SET


def test_a_take_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch, take = sketch_file(tmp_path, SET), take_file(tmp_path, notes(seconds=0.2))
    take = take.rename(tmp_path / "take.txt")  # what a file holds is told by its beginning, not by its ending
    before = take.read_bytes()
    for name in ("take.txt", "there/../take.txt"):
        (tmp_path / "there").mkdir(exist_ok=True)
        refused = ran(capsys, "sheet", sketch, "--for", "house", "--take", take, "-o", tmp_path / name)
        assert "is the file take.txt itself" in complaint(refused)
    assert take.read_bytes() == before


def test_faults_of_the_sketch_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = ran(capsys, "sheet", sketch_file(tmp_path, 'chain = ["ehco"]'), "-o", tmp_path / "sheet.html")
    assert complaint(bad).startswith('sketch.toml: chain: no block "ehco"')
    assert "cannot be read" in complaint(ran(capsys, "sheet", tmp_path / "none.toml"))
    assert names(tmp_path) == ["sketch.toml"]


def test_help_tells_how_to_get_a_pdf(capsys: pytest.CaptureFixture[str]) -> None:
    told = " ".join(ran(capsys, "sheet", "--help").out.split())
    assert "For a PDF, open it in a browser and print it into a file" in told
    assert "chainsim sheet harbour_day.toml -o sheet.html" in told


def test_a_sheet_for_each_purpose(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, SET)
    begins = {"stage": "Ropewalk\n", "wiring": "Ropewalk: wiring sheet\n", "house": "Ropewalk: for the house\n"}
    for kind, begin in {**begins, "failures": "Ropewalk: if it fails\n"}.items():
        told = ran(capsys, "sheet", sketch, "--for", kind)
        assert (told.code, told.err) == (0, "")
        assert told.out.startswith(begin)
        assert max(map(len, told.out.splitlines())) <= 80
        page = ran(capsys, "sheet", sketch, "--for", kind, "-o", tmp_path / f"{kind}.html")
        assert page.code == 0
        assert (tmp_path / f"{kind}.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    # Microphone to preamp, preamp to delay, delay to direct box, direct box to desk; foot board to delay.
    wiring = ran(capsys, "sheet", sketch, "--for", "wiring", "-o", tmp_path / "wiring.txt").out
    assert wiring == f"{tmp_path / 'wiring.txt'}: 5 cables, 1 box\n"
    assert "Did you mean" not in complaint(ran(capsys, "sheet", sketch, "--for", "wires"))


def test_purposes_in_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, SET)
    wiring = json.loads(ran(capsys, "sheet", sketch, "--for", "wiring", "--json").out)
    assert wiring["cables_of_kind"] == {"microphone cable": 2, "signal cable": 2, "MIDI cable": 1}
    failures = json.loads(ran(capsys, "sheet", sketch, "--for", "failures", "--json").out)
    assert [p["dead"]["kind"] for p in failures["boxes"][0]["patches"]] == ["unchanged", "silent"]
    assert failures["boxes"][0]["patches"][1]["way_out"]["gestures"] == ["A"]
    house = json.loads(ran(capsys, "sheet", sketch, "--for", "house", "--room", "chapel", "--json").out)
    assert (house["room"], house["channels"], house["figures"]) == ("chapel", 1, None)


def test_a_take_adds_its_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch, take = sketch_file(tmp_path, SET), take_file(tmp_path, notes(seconds=2.0))
    told = ran(capsys, "sheet", sketch, "--for", "house", "--take", take).out
    assert "answered: -" in told
    assert "measured with" in told
    assert "take.wav, 2 s" in told
    wiring = ran(capsys, "sheet", sketch, "--for", "wiring", "--take", take)
    assert "warning: --take: the sketch has no [levels]" in wiring.err
    text = SET.replace("[blocks.echo]", "[levels]\ninput_dbu = 4\n[blocks.echo]")
    levels = sketch_file(tmp_path, text, "levels.toml")
    steady = take_file(
        tmp_path, 0.4 * np.sin(2.0 * np.pi * 220.0 * np.arange(8_000) / 8_000)[:, None], name="steady.wav"
    )
    told = json.loads(ran(capsys, "sheet", levels, "--for", "wiring", "--take", steady, "--json").out)
    assert told["levels_dbu"]["input"] == pytest.approx(4.0 - 7.959, abs=0.01)  # 20 lg 0.4 under full scale


def test_a_take_that_tells_nothing_or_cannot_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, SET)
    said = complaint(ran(capsys, "sheet", sketch, "--take", tmp_path / "none.wav"))
    assert said == "--take tells nothing of the stage sheet; it is for --for wiring | house | failures"
    for kind in ("wiring", "house", "failures"):
        assert "none.wav" in complaint(ran(capsys, "sheet", sketch, "--for", kind, "--take", tmp_path / "none.wav"))
        assert complaint(ran(capsys, "sheet", sketch, "--for", kind, "--room", "chapl")).startswith('no room "chapl"')
