"""The carry plan in a browser: nothing is cut off on a narrow screen, and axe-core objects to nothing."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import pytest

from chainsim.listen.sheets.carry_plan.page import plan_page
from chainsim.listen.sheets.carry_plan.planning import carry_plan
from chainsim.listen.sheets.carry_plan.reading import parse_inventory
from chainsim.sketch.loading import parse_sketch
from tests.browser.conftest import OpenPage
from tests.listen.sheets.test_carry_plan import INVENTORY, SKETCH


@cache
def page_with_all_of_it() -> str:
    """A plan with something in each of its parts: a patch that cannot be made, too."""
    lost = '[patches.deep]\nchain = ["hush", "echo", "frequency_divider"]\n'
    inventory = INVENTORY.replace('name = "supply"', 'name = "supply underneath the floorboards"')  # a wide power table
    inventory = inventory.replace('name = "hall box"', 'name = "concert-hall workshop"')
    return plan_page(carry_plan(parse_sketch(SKETCH + lost), parse_inventory(inventory)))


@pytest.mark.parametrize(("width", "dark"), [(1200, False), (320, True)])
def test_the_plan_is_legible(
    open_page: OpenPage, axe: Callable[[Any], list[dict[str, Any]]], width: int, dark: bool
) -> None:
    page = open_page(page_with_all_of_it(), width=width, dark=dark)
    assert page.get_by_role("heading", name="Cannot be made").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in axe(page)] == []
