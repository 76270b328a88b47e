"""What stands on the carry plan, in text and on the page; figures worked by hand."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from chainsim.listen.sheets.carry_plan.as_text import WIDTH, plan_text
from chainsim.listen.sheets.carry_plan.page import plan_page
from chainsim.listen.sheets.carry_plan.plan import CarryPlan
from chainsim.listen.sheets.carry_plan.planning import carry_plan
from chainsim.listen.sheets.carry_plan.reading import parse_inventory
from chainsim.listen.sheets.carry_plan.rows import label_lines
from chainsim.sketch.loading import parse_sketch

SKETCH = """
title = "<script>Ropewalk</script>"
chain = ["hush", "echo", "hall"]
[blocks.hush]
type = "noise"
switching = "always_on"
[blocks.echo]
type = "delay"
[blocks.hall]
type = "reverb"
[patches.plain]
engage = []
[patches."a <b>wet</b> one"]
engage = ["echo", "hall"]
[patches.long]
engage = ["hall"]
blocks.hall.decay_s = 6
"""
INVENTORY = """
currency = "shells"
[limits]
board_width_mm = 400
board_depth_mm = 150
gap_mm = 10
mass_g = 2000
budget = 100
latency_ms = 20

[[gear]]
name = "<img src=x> echo"
makes = ["delay"]
width_mm = 70
depth_mm = 120
mass_g = 400
latency_ms = 2
voltage_v = 9
current_ma = 98
[[gear]]
name = "hall box"
makes = ["reverb"]
programs = 2
width_mm = 120
depth_mm = 120
mass_g = 600
latency_ms = 3.5
price = 90
owned = false
voltage_v = 9
current_ma = 150
[[gear]]
name = "hall rack"
makes = ["reverb"]
programs = 9
width_mm = 300
depth_mm = 120
mass_g = 1400
price = 1
owned = false
power = "mains"
[[gear]]
name = "fuzz"
makes = ["drive"]
width_mm = 50
depth_mm = 50
mass_g = 1
power = "battery"
[[supplies]]
name = "supply"
on_board = false
mass_g = 500
outlets = [{ voltage_v = 9, current_ma = 100 }, { voltage_v = 9, current_ma = 300 }]
"""


@pytest.fixture(scope="module")
def plan() -> CarryPlan:
    return carry_plan(parse_sketch(SKETCH), parse_inventory(INVENTORY))


def test_what_it_comes_to(plan: CarryPlan) -> None:
    assert [item.name for item in plan.carried] == ["<img src=x> echo", "hall box", "supply"]  # the rack makes 2300 g
    totals = {total.what: (total.value, total.limit, total.unit) for total in plan.totals}
    assert totals["mass"] == (1500.0, 2000.0, "g")  # 400 + 600 + 500
    assert totals["to be bought"] == (90.0, 100.0, "shells")
    assert totals["longest way through the boxes"] == (5.5, 20.0, "ms")  # 2 + 3.5
    assert totals["current drawn from outlets"] == (248.0, None, "mA")  # 98 + 150


def test_who_makes_what_in_which_patch(plan: CarryPlan) -> None:
    boxes = {patch.name: patch.boxes for patch in plan.made}
    assert boxes["plain"] == ()
    assert boxes["long"] == (("hall box", ("hall",)),)
    assert {item.name: item.settings_held for item in plan.carried}["hall box"] == 2
    assert plan.elsewhere == ("hush",)


def test_which_outlet_feeds_what(plan: CarryPlan) -> None:
    told = [(f.supply, f.outlet, f.box, f.draws_ma, f.gives_ma) for f in plan.feeds]
    assert told == [("supply", 1, "<img src=x> echo", 98.0, 100.0), ("supply", 2, "hall box", 150.0, 300.0)]


def test_what_stays_and_what_has_no_replacement(plan: CarryPlan) -> None:
    assert {item.name: item.reason for item in plan.left} == {
        "hall rack": "not needed: hall box will do",
        "fuzz": "makes nothing that is wanted",
    }
    lost = {spare.name: spare.lost for spare in plan.spares}
    assert lost["<img src=x> echo"] == ("a <b>wet</b> one",)
    # Without the hall box the rack alone: 1400 g and no supply; with echo and supply it would be 2300 g.
    spare = next(s for s in plan.spares if s.name == "hall box")
    assert (spare.instead, spare.lost) == (("hall rack",), ("a <b>wet</b> one",))


def test_the_text_goes_on_a_page(plan: CarryPlan) -> None:
    text = plan_text(plan)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "1500 g of 2000 g allowed" in text
    assert "makes all 3 patches" in text
    assert "! <img src=x> echo draws 98 of the 100 mA" in text


def test_names_are_text_on_the_page(plan: CarryPlan) -> None:
    page = plan_page(plan)
    for written in ("<img", "<script", "<b>wet"):
        assert written not in page
    assert "&lt;script&gt;Ropewalk" in page
    assert not re.search(r"(?:src|href)\s*=\s*[\"']|url\(|@import", page)


def test_the_board_is_drawn_to_scale(plan: CarryPlan) -> None:
    drawing = re.search(r"<svg.*?</svg>", plan_page(plan), flags=re.S)
    assert drawing is not None
    boxes = ElementTree.fromstring(drawing[0]).findall("rect")
    drawn = [tuple(float(box.get(k, "nan")) for k in ("x", "y", "width", "height")) for box in boxes]
    assert drawn[0] == (0.0, 0.0, 400.0, 150.0)
    for laid, (left, top, width, depth) in zip(plan.layout, drawn[1:], strict=True):
        assert (width, depth) == (laid.place.width_mm, laid.place.depth_mm)
        assert (left, 150.0 - top - depth) == pytest.approx((laid.place.left_mm, laid.place.front_mm))  # y goes down


@pytest.mark.parametrize(
    ("name", "across_mm", "deep_mm", "lines"),
    [
        ("small delay box", 200.0, 100.0, ("small delay box",)),
        ("small delay box", 60.0, 100.0, ("small", "delay box")),  # 10 letters of 5.6 mm
        ("interstellar", 40.0, 100.0, ("inte...",)),
        ("small delay box", 60.0, 12.0, ("small...",)),
    ],
)
def test_names_go_into_their_boxes(name: str, across_mm: float, deep_mm: float, lines: tuple[str, ...]) -> None:
    assert label_lines(name, across_mm, deep_mm, 10.0) == lines


@pytest.mark.parametrize(("by", "first"), [("boxes", "one for both"), ("mass", "echo box"), ("price", "one for both")])
def test_what_is_small_first(by: str, first: str) -> None:
    light = "".join(
        f'[[gear]]\nname = "{n} box"\nmakes = ["{t}"]\nmass_g = 300\npower = "none"\n'
        for n, t in (("echo", "delay"), ("hall", "reverb"))
    )
    heavy = '[[gear]]\nname = "one for both"\nmakes = ["delay", "reverb"]\nat_once = 2\nmass_g = 900\npower = "none"\n'
    stock = parse_inventory(light + heavy)
    plan = carry_plan(parse_sketch('chain = ["delay", "reverb"]'), stock, by=by)  # type: ignore[arg-type]
    assert plan.carried[0].name == first
