"""Why a patch cannot be made: one example for each thing that can be in the way, figures worked by hand."""

from __future__ import annotations

import pytest

from chainsim.listen.sheets.carry_plan.planning import carry_plan
from chainsim.listen.sheets.carry_plan.reading import parse_inventory
from chainsim.listen.sheets.carry_plan.rows import reason_lines
from chainsim.sketch.loading import parse_sketch

WET = """
title = "Ropewalk"
chain = ["echo", "hall"]
[blocks.echo]
type = "delay"
[blocks.hall]
type = "reverb"
[patches.plain]
engage = []
[patches.wet]
"""
FORKED = 'title = "Ropewalk"\nchain = [{ lanes = ["dry", "delay", "reverb"] }]'
PEDAL = (
    WET
    + """
[controllers.heel]
type = "control_change"
file = "heel.mid"
drives = [{ setting = "hall.wet_db", low = -20, high = -6 }]
"""
)
TWO_SETTINGS = WET + "blocks.hall.decay_s = 1\n[patches.wetter]\nblocks.hall.decay_s = 4"
TWO_ORDERS = WET + '[patches.turned]\nchain = ["hall", "echo"]'
TORN = 'title = "Ropewalk"\nchain = ["delay", "reverb", "drive"]'


def box(name: str, makes: str, figures: str = 'power = "battery"') -> str:
    return f'[[gear]]\nname = "{name}"\nmakes = [{makes}]\n{figures}\n'


ECHO = box("echo box", '"delay"', 'power = "battery"\nmass_g = 400\nwidth_mm = 70\ndepth_mm = 120\nheight_mm = 50')
HALL = box("hall box", '"reverb"', 'power = "battery"\nmass_g = 600\nwidth_mm = 120\ndepth_mm = 120\nheight_mm = 70')
BOTH = box("both", '"delay", "reverb"')
FED = box("fed box", '"delay", "reverb"', "at_once = 2\nvoltage_v = 9\ncurrent_ma = 300")
SUPPLY = """
[[supplies]]
name = "supply"
outlets = [{ voltage_v = 9, current_ma = 100 }, { voltage_v = 12, current_ma = 500 }]
"""


def ways(sketch: str, inventory: str) -> list[tuple[str, ...]]:
    """What is in the way of the first patch that cannot be made."""
    plan = carry_plan(parse_sketch(sketch), parse_inventory(inventory))
    return list(plan.lost[0].ways)


@pytest.mark.parametrize(
    ("sketch", "inventory", "reason"),
    [
        (WET, ECHO, "nothing makes reverb (hall)"),
        (WET, f"[limits]\nmass_g = 900\n{ECHO}{HALL}", "over the mass by 100 g: at least 1000 g, allowed 900 g"),
        (
            WET,
            f'currency = "shells"\n[limits]\nbudget = 50\n{ECHO}{HALL}owned = false\nprice = 90',
            "over the budget by 40 shells: at least 90 shells, allowed 50 shells",
        ),
        (
            WET,
            f"[limits]\nlatency_ms = 8\n{ECHO}latency_ms = 5\n{HALL}latency_ms = 4.5",
            "too late: 9.5 ms through the boxes in wet, allowed 8 ms",
        ),
        (
            WET,  # 70 and 120 side by side are 190
            f"[limits]\nboard_width_mm = 180\nboard_depth_mm = 120\n{ECHO}{HALL}",
            "does not fit the board of 180 x 120 mm: echo box, hall box; 180 x 190 mm or 190 x 120 mm would do",
        ),
        (WET, f"[limits]\nheight_mm = 60\n{ECHO}{HALL}", "hall box is 70 mm high, allowed 60 mm"),
        (WET, FED + SUPPLY, "fed box draws 300 mA at 9 V DC, centre minus, and no such outlet gives more than 100 mA"),
        (WET, BOTH, "both makes 1 block at once, wanted echo, hall"),
        (
            TWO_SETTINGS,
            ECHO + HALL,
            "hall box recalls 1 setting, wanted 2 for hall; a second box would do, or a hand that turns it between"
            " patches (--by-hand)",
        ),
        (FORKED, ECHO + HALL, "no splitter and mixer for the fork of delay, reverb in Ropewalk"),
        (PEDAL, ECHO + HALL, "hall box has no pedal inputs, wanted for heel"),
        (
            TWO_ORDERS,
            ECHO + HALL,
            "patches want echo box, hall box in different orders, and there are too few loops for them",
        ),
        (
            TORN,
            box("ends", '"delay", "drive"', 'at_once = 2\npower = "none"') + HALL,
            "in Ropewalk, ends would make delay and drive, but reverb parts them",
        ),
    ],
)
def test_it_says_what_is_in_the_way(sketch: str, inventory: str, reason: str) -> None:
    assert ways(sketch, inventory) == [(reason,)]


def test_what_is_in_the_way_together_is_told_apart_from_what_would_do_alone() -> None:
    high, heavy = "hall box is 70 mm high, allowed 60 mm", "over the mass by 100 g: at least 1000 g, allowed 900 g"
    together = f"[limits]\nmass_g = 900\nheight_mm = 60\n{ECHO}{HALL}"
    assert ways(WET, together) == [(high, heavy)]
    drive = box("drive box", '"drive"')
    assert ways(WET, drive) == [("nothing makes delay (echo)", "nothing makes reverb (hall)")]
    plan = carry_plan(parse_sketch(WET), parse_inventory(together))
    all_of_them = ["all of these are in the way:", f"- {high}", f"- {heavy}"]
    assert reason_lines(plan.lost[0]) == all_of_them
    # A light box that is too high stands in for a heavy one: either limit alone, a little larger, would do.
    light = HALL.replace("hall box", "light hall").replace("mass_g = 600", "mass_g = 500")
    low = HALL.replace("height_mm = 70", "height_mm = 50")
    plan = carry_plan(parse_sketch(WET), parse_inventory(f"[limits]\nmass_g = 900\nheight_mm = 60\n{ECHO}{low}{light}"))
    assert reason_lines(plan.lost[0]) == [
        "any one of these, mended, would do:",
        "- light hall is 70 mm high, allowed 60 mm",
        f"- {heavy}",
    ]


def test_the_nearer_remedy_of_outlets_is_told_first() -> None:
    echo, hall = (
        box(name, f'"{makes}"', f"voltage_v = 9\ncurrent_ma = {ma}")
        for name, makes, ma in (("echo box", "delay", 200), ("hall box", "reverb", 180))
    )
    one = box("all in one", '"delay", "reverb"', "at_once = 2\nvoltage_v = 12\ncurrent_ma = 500")
    supply = '[[supplies]]\nname = "s"\noutlets = [{ voltage_v = 9, current_ma = 100, count = 5 }]'
    assert ways(WET, echo + hall + one + supply) == [
        (
            "echo box draws 200 mA at 9 V DC, centre minus, and no such outlet gives more than 100 mA",
            "hall box draws 180 mA at 9 V DC, centre minus, and no such outlet gives more than 100 mA",
        ),
        ("all in one draws 500 mA at 12 V DC, centre minus, and there is no such outlet",),
    ]
    single = supply.replace("current_ma = 100, count = 5", "current_ma = 200")
    (way,) = ways(WET, echo + hall + single)
    assert way in (
        ("echo box draws 200 mA at 9 V DC, centre minus, and no outlet that gives it is left",),
        ("hall box draws 180 mA at 9 V DC, centre minus, and no outlet that gives it is left",),
    )


def test_what_stays_at_home_is_not_told_where_nothing_can_be_made() -> None:
    plan = carry_plan(parse_sketch(WET), parse_inventory(ECHO), ["wet"])
    assert (plan.made, plan.left) == ((), ())


def test_what_is_mended_is_in_the_way_no_more() -> None:
    for sketch, inventory in (
        (WET, ECHO + HALL),
        (WET, FED + SUPPLY.replace("current_ma = 100", "current_ma = 300")),
        (TWO_SETTINGS, ECHO + HALL + "programs = 2"),
        (FORKED, f'{ECHO}{HALL}[[gear]]\nname = "mixer"\nsplits = 3\nmixes = 3\npower = "none"'),
        (PEDAL, ECHO + HALL + "pedal_inputs = 1"),
        (TWO_ORDERS, f'{ECHO}{HALL}[[gear]]\nname = "switcher"\nloops = 2\npower = "none"'),
    ):
        assert carry_plan(parse_sketch(sketch), parse_inventory(inventory)).lost == ()


def test_a_patch_that_is_possible_alone_is_told_so() -> None:
    sketch = WET + 'blocks.hall.decay_s = 1\n[patches.other]\nengage = ["hall"]\nblocks.hall.decay_s = 4'
    plan = carry_plan(parse_sketch(sketch), parse_inventory(ECHO + HALL))
    assert [p.name for p in plan.made] == ["plain", "wet"] or [p.name for p in plan.made] == ["plain", "other"]
    assert not plan.lost[0].alone


def test_by_hand_needs_no_recall_and_says_so() -> None:
    plan = carry_plan(parse_sketch(TWO_SETTINGS), parse_inventory(ECHO + HALL), by_hand=True)
    assert plan.lost == ()
    assert [(item.name, item.turned_by_hand) for item in plan.carried] == [("echo box", False), ("hall box", True)]
