"""The drawing in a browser: its letters take no more room than was reckoned, its wires can be hit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from chainsim.listen.drawing.layout import lay_out
from chainsim.listen.drawing.svg import draw_svg
from chainsim.listen.drawing.text_width import text_width
from chainsim.listen.drawing.wires import WireFigures
from chainsim.sketch.loading import load_sketch
from chainsim.sketch.model import State
from tests.browser.conftest import OpenPage

PRESETS = Path(__file__).parents[2] / "presets"
TEXTS = "svg => Array.from(svg.querySelectorAll('text'), t => t.getComputedTextLength())"
HIT = """(svg) => Array.from(svg.querySelectorAll("[data-sound]"), (wire) => {
  const path = wire.querySelector(".hit");
  const at = path.getPointAtLength(2);
  const box = svg.getBoundingClientRect();
  const found = document.elementFromPoint(box.left + at.x, box.top + at.y);
  return found?.closest("[data-sound]")?.getAttribute("data-wire") === wire.getAttribute("data-wire");
})"""


@pytest.fixture(scope="module")
def state() -> State:
    return load_sketch(PRESETS / "harbour_day.toml").base


def svg_of(page: Any) -> Any:
    return page.locator("svg.drawing")


def test_letters_have_the_room_that_was_reckoned(open_page: OpenPage, state: State, tmp_path: Path) -> None:
    figures = {name: WireFigures(123.4, -23.4) for name in lay_out(state).wire_names}
    file = tmp_path / "drawing.svg"
    file.write_text(
        draw_svg(state, title="Harbour day", heading="Harbour day", figures=figures, standalone=True), encoding="utf-8"
    )
    measured = svg_of(open_page(file)).evaluate(TEXTS)
    labels = lay_out(state, figures, heading="Harbour day").labels
    assert len(measured) == len(labels) > 100
    for label, width in zip(labels, measured, strict=True):
        # A percent for the rounding of widths at small sizes.
        assert width <= 1.01 * text_width(label.text, label.size, bold=label.bold) + 0.5, label


@pytest.mark.parametrize("dark", [False, True])
def test_every_wire_can_be_hit_and_reached_by_keys(open_page: OpenPage, state: State, dark: bool) -> None:
    sounds = {name: f"w{i}" for i, name in enumerate(lay_out(state).wire_names)}
    svg = draw_svg(state, title="Harbour day", sounds=sounds)
    page = open_page(
        f"<!DOCTYPE html><html lang='en'><title>t</title><body>{svg}</body></html>", height=1300, dark=dark
    )
    hit = svg_of(page).evaluate(HIT)
    assert hit == [True] * len(sounds)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "hear input"
