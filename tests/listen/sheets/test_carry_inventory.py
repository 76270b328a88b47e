"""Inventory files: every fault of a file is told together, with its place, what was found and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from chainsim.errors import SketchError
from chainsim.listen.sheets.carry_plan.reading import load_inventory, parse_inventory

EXAMPLE = Path(__file__).parents[3] / "presets" / "gear" / "harbour_day.toml"
LEAST = '[[gear]]\nname = "echo box"\nmakes = ["delay"]\npower = "none"\n'
ECHO_BOX = 'gear.toml: gear no. 1 "echo box"'


def faults(text: str) -> list[str]:
    with pytest.raises(SketchError) as caught:
        parse_inventory(text, name="gear.toml")
    return caught.value.faults


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "gear.toml: gear: missing; the least inventory has one [[gear]] with a name and what it makes"),
        ("gear = 3", "gear.toml: gear: allowed a list of tables: [[gear]]"),
        (LEAST + "mas_g = 3", f'{ECHO_BOX}.mas_g: no setting "mas_g"; did you mean "mass_g"?'),
        (LEAST + "mass_g = -1", f"{ECHO_BOX}.mass_g = -1 g, allowed 0 ... 200000 g"),
        (LEAST + "mass_g = nan", f"{ECHO_BOX}.mass_g = nan g, allowed 0 ... 200000 g"),
        (
            LEAST + 'mass_g = "400 g"',
            f"{ECHO_BOX}.mass_g = '400 g', allowed 0 ... 200000 g, a number without quotes",
        ),
        (LEAST + "at_once = 0", f"{ECHO_BOX}.at_once = 0, allowed 1 ... 200"),
        (LEAST + "programs = 1.5", f"{ECHO_BOX}.programs = 1.5, allowed 1 ... 100000"),
        (LEAST.replace("delay", "dely"), f'{ECHO_BOX}.makes: no block type "dely"; did you mean "delay"?'),
        (
            LEAST.replace("delay", "blender"),
            f'{ECHO_BOX}.makes: take "blender" out: it is a fork of two lanes, no effect; what forks has splits = 2',
        ),
        (LEAST.replace('"delay"', '"delay", "blender"') + "splits = 2\nmixes = 2", '.makes: take "blender" out'),
        (
            LEAST.replace('"none"', '"steam"'),
            f'{ECHO_BOX}.power = "steam", allowed outlet | battery | mains | none',
        ),
        (
            LEAST.replace('"none"', '"outlet"\ncurrent_ma = 9'),
            f"{ECHO_BOX}.voltage_v: missing; what takes no outlet",
        ),
        (LEAST.replace('name = "echo box"', ""), "gear.toml: gear no. 1.name: missing; every item has one"),
        (LEAST * 2, 'gear.toml: gear no. 2 "echo box".name = "echo box", allowed a name of its own; gear no. 1 has it'),
        (
            "[limits]\nbudget = 9\n" + LEAST + "owned = false",
            f"{ECHO_BOX}.price: missing, and limits.budget is given",
        ),
        ("[limits]\nboard_width_mm = 9\n" + LEAST, "gear.toml: limits: a board has board_width_mm and board_depth_mm"),
        (
            LEAST + '[[supplies]]\nname = "s"\noutlets = [{ voltage_v = 9 }]',
            'supplies no. 1 "s".outlets[0].current_ma: missing',
        ),
        (
            LEAST + 'polarity = "center minus"',
            'polarity = "center minus", allowed centre minus | centre plus | none; did you mean "centre minus"?',
        ),
        (
            LEAST
            + '[[supplies]]\nname = "s"\noutlets = ['
            + "{ voltage_v = 9, current_ma = 9, count = 33 }, " * 2
            + "]",
            'supplies no. 1 "s".outlets: 66 of them in all, allowed up to 64',
        ),
        ("format = 2\n" + LEAST, "gear.toml: format = 2, allowed 1 ... 1"),
        (LEAST + "[", "gear.toml: not valid TOML"),
        (LEAST * 61, "gear.toml: gear: 61 of them, allowed up to 60"),
    ],
)
def test_each_fault_has_a_line(text: str, fault: str) -> None:
    told = faults(text)
    assert len(told) == 1, told
    assert fault in told[0]


def test_all_faults_are_told_together() -> None:
    told = faults("titel = 3\n[limits]\nmass_g = -3\n" + LEAST + "colour = 3\n" + LEAST.replace("delay", "dely"))
    assert len(told) == 4


def test_what_no_limit_asks_for_may_be_left_out() -> None:
    assert parse_inventory(LEAST).gear[0].mass_g is None
    hung = parse_inventory("[limits]\nboard_width_mm = 9\nboard_depth_mm = 9\n" + LEAST + "on_board = false")
    assert hung.limits.has_board


def test_the_example_reads() -> None:
    assert len(load_inventory(EXAMPLE).gear) == 10


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(SketchError, match=r"gear\.toml: cannot be read"):
        load_inventory(tmp_path / "gear.toml")
    (tmp_path / "take.wav").write_bytes(b"RIFF\xff\xfe")
    with pytest.raises(SketchError, match="this is a recording, not an inventory"):
        load_inventory(tmp_path / "take.wav")


def test_what_is_missing_is_told_beside_a_wrong_key_at_the_top() -> None:
    told = faults("titel = 3\n[limits]\nheight_mm = 3\n" + LEAST)
    assert ["titel" in told[0], "height_mm: missing" in told[1], len(told)] == [True, True, 2]
