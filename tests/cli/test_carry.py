"""`chainsim carry`: text, page and JSON, exit codes, and what it refuses."""

from __future__ import annotations

import json
import re
import textwrap
from pathlib import Path

import pytest

from chainsim.cli.carry import command
from chainsim.listen.sheets.carry_plan.inventory import Gear, InventoryHeader, Limits, Outlet, Supply
from chainsim.listen.sheets.carry_plan.reading import parse_inventory
from tests.cli.running import complaint, ran, sketch_file

SET = """
title = "Ropewalk"
chain = ["delay", "reverb"]
[patches.echoed]
engage = ["delay"]
[patches.wet]
"""
ECHO = '[[gear]]\nname = "echo box"\nmakes = ["delay"]\npower = "battery"\n'
HALL = '[[gear]]\nname = "hall box"\nmakes = ["reverb"]\npower = "battery"\n'


def gear_file(folder: Path, text: str) -> Path:
    return sketch_file(folder, text, "gear.toml")


def test_it_prints_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "carry", sketch_file(tmp_path, SET), "--gear", gear_file(tmp_path, ECHO + HALL))
    assert told.code == 0
    assert told.out.startswith("Ropewalk: what to carry\n=======================\n")
    assert "makes both patches" in told.out


@pytest.mark.parametrize(
    ("gear", "code", "made"), [(ECHO + HALL, 0, 2), (ECHO, 1, 1), (HALL.replace("reverb", "drive"), 2, 0)]
)
def test_the_exit_code_says_whether_all_some_or_none_can_be_made(
    gear: str, code: int, made: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = ran(capsys, "carry", sketch_file(tmp_path, SET), "--gear", gear_file(tmp_path, gear), "--json")
    assert told.code == code
    assert len(json.loads(told.out)["made"]) == made


def test_one_patch_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    gear = gear_file(tmp_path, ECHO)
    told = ran(capsys, "carry", sketch_file(tmp_path, SET), "--gear", gear, "--patch", "echoed", "--json")
    assert told.code == 0
    assert [item["name"] for item in json.loads(told.out)["carried"]] == ["echo box"]


def test_it_writes_a_page_and_a_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch, gear = sketch_file(tmp_path, SET), gear_file(tmp_path, ECHO)
    page = ran(capsys, "carry", sketch, "--gear", gear, "-o", tmp_path / "carry.html")
    assert page.out == f"{tmp_path / 'carry.html'}: 1 item to carry, 1 of 2 patches made\n"
    assert "nothing makes reverb (reverb)" in (tmp_path / "carry.html").read_text(encoding="utf-8")
    ran(capsys, "carry", sketch, "--gear", gear, "-o", tmp_path / "carry.txt")
    assert (tmp_path / "carry.txt").read_text(encoding="utf-8") == ran(capsys, "carry", sketch, "--gear", gear).out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--patch", "ecoed"), 'no patch "ecoed"; did you mean "echoed"?'),
        (("--room", "quay"), 'no room "quay"; the sketch has none'),
        (("-o", "carry.pdf"), 'carry.pdf: cannot write ".pdf" files'),
        (("--by", "colour"), "'colour' is not one of"),
    ],
)
def test_it_refuses(options: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "carry", sketch_file(tmp_path, SET), "--gear", gear_file(tmp_path, ECHO), *options)
    assert told in complaint(run)


def test_the_inventory_in_the_help_is_one() -> None:
    text = (command.help or "").partition("may be left out:\n")[2].partition("\n\n")[0]
    inventory = parse_inventory(textwrap.dedent(text))
    assert [item.name for item in inventory.items] == [
        "small delay box",
        "mixer and switcher",
        "supply under the board",
    ]
    written = set(re.findall(r"(\w+) = ", text)) | {"board_depth_mm"}
    known = {*Gear.specs(), *Supply.specs(), *Outlet.specs(), *Limits.specs(), *InventoryHeader.specs()}
    assert known - written == {"title", "gap_mm"}


def test_the_inventory_is_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    gear = sketch_file(tmp_path, ECHO, "gear.txt")
    run = ran(capsys, "carry", sketch_file(tmp_path, SET), "--gear", gear, "-o", gear)
    assert "is the file gear.txt itself" in complaint(run)
    assert gear.read_text(encoding="utf-8") == ECHO
