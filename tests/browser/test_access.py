"""The page without a mouse, without sight, on a narrow screen, and for who wants things to hold still."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from chainsim.listen.page.model import Figure
from chainsim.listen.page.writing import listening_page
from tests.browser.audio_clock import AHEAD_S, listen, until_chosen, until_playing
from tests.browser.conftest import OpenPage
from tests.browser.synthetic import noise, page_sound, synthetic_page, with_drawing
from tests.browser.test_listening import WIRE, plain_page, player

Axe = Callable[[Any], list[dict[str, Any]]]


@cache
def full_page() -> str:
    """A page with everything on it that a page of versions may have."""
    page = synthetic_page(seconds=1.0)
    first, *others = page.cards
    sounds = tuple(replace(sound, equally_loud=sound.key != "version-2") for sound in page.sounds)
    page = replace(
        page, sounds=sounds, cards=(replace(first, warnings=("lanes meet 2.9 ms apart",)), *others), notes=("a note",)
    )
    return listening_page(with_drawing(page, WIRE, [page_sound("wire-1", noise(1.0), role="wire")]))


@pytest.mark.parametrize(("width", "dark"), [(1200, False), (360, True)])
def test_axe_finds_nothing(open_page: OpenPage, axe: Axe, width: int, dark: bool) -> None:
    page = open_page(full_page(), width=width, dark=dark)
    page.evaluate("() => document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.locator("[data-version=version-2]").click()
    until_playing(page, "version-2")
    page.get_by_label("As loud as it comes").check()
    found = axe(page)
    assert not [(v["id"], v["impact"], [n["html"][:120] for n in v["nodes"]]) for v in found]


def test_all_from_the_keyboard(open_page: OpenPage) -> None:
    page = open_page(listening_page(synthetic_page(seconds=5.0)))
    press = page.keyboard.press
    press("2")
    until_playing(page, "version-2")
    listen(page, 0.08)
    assert page.locator("#announcements").inner_text() == "Version 2"
    press("Space")
    assert player(page, "playing") is False
    assert player(page, "position") == pytest.approx(0.08 - AHEAD_S)
    for _ in range(4):  # held down
        page.keyboard.down("Space")
    page.keyboard.up("Space")
    until_playing(page)
    press("Space")
    assert player(page, "playing") is False
    player(page, "seek(4)")
    press("ArrowLeft")
    assert player(page, "position") == pytest.approx(3.0, abs=1e-4)
    press("f")
    press("Shift+ArrowRight")
    # From 3 s five further on would be behind the end, where the loop ends as well: it begins anew.
    assert player(page, "position") == pytest.approx(3.0, abs=1e-4)
    press("ArrowRight")
    press("t")
    assert player(page, "loop") == {"from": pytest.approx(3.0, abs=1e-4), "to": pytest.approx(4.0, abs=1e-4)}
    press("l")
    assert player(page, "loop") is None
    for key, sound in (("n", "version-3"), ("Shift+N", "version-2"), ("0", "take")):
        press(key)
        until_playing(page, sound)


def test_keys_are_left_alone_where_they_are_typed(open_page: OpenPage) -> None:
    page = open_page(plain_page())
    until_chosen(page)
    page.evaluate("() => document.querySelector('main').append(document.createElement('textarea'))")
    page.locator("textarea").press_sequentially("2 nl")
    assert page.locator("textarea").input_value() == "2 nl"
    page.get_by_text("Keys", exact=True).click()
    page.get_by_label("Keys of this page do something").uncheck()
    page.locator("body").press("3")
    assert (player(page, "asked"), player(page, "current")) == (None, "version-1")
    assert player(page, "playing") is False
    assert player(page, "loop") is None


FOCUSED = """() => {
  const at = document.activeElement;
  return [at.tagName, at.textContent.trim(), getComputedStyle(at).outlineWidth];
}"""


def test_tab_reaches_everything_and_leaves_again(open_page: OpenPage) -> None:
    page = open_page(full_page())
    stops = "button:visible, input:visible, summary:visible, [tabindex='0']:visible, .places a:visible"
    wanted = page.locator(stops).count()
    reached = []
    for _ in range(2 * wanted):
        page.keyboard.press("Tab")
        *at, ring = page.evaluate(FOCUSED)
        if at[0] == "BODY":
            break
        reached.append(at)
        # A ring of three pixels; on a wire it is the wire itself that lights up.
        assert ring == "3px"
    # Of the two radio buttons one takes the focus; the link that skips to the sounds is met as well.
    assert len(reached) == wanted
    assert ["A", "To the sounds"] in reached


def test_dark_as_the_system_or_as_wanted(open_page: OpenPage) -> None:
    page = open_page(full_page(), dark=True)
    paper = "() => getComputedStyle(document.body).backgroundColor"
    dark = page.evaluate(paper)
    page.get_by_role("button", name="Light page").click()
    light = page.evaluate(paper)
    assert sum(rgb(light)) > 600 > 150 > sum(rgb(dark))
    page.reload()
    assert page.evaluate(paper) == light
    page.get_by_role("button", name="Dark page").click()
    assert page.evaluate(paper) == dark


def test_things_hold_still(open_page: OpenPage) -> None:
    """The playhead is moved four times a second instead of at every picture of the screen."""
    page = open_page(full_page(), reduced_motion=True, still_timers=True)
    page.locator("[data-version=version-1]").click()
    until_playing(page)
    page.evaluate(
        """() => {
          let place = 0;
          Object.defineProperty(chainsimPage.player, "position", { get: () => (place += 0.001) });
          window.moves = 0;
          const seen = new MutationObserver((moves) => { window.moves += moves.length; });
          seen.observe(document.querySelector(".playhead"), { attributes: true });
        }"""
    )
    page.clock.run_for(1000)
    assert page.evaluate("() => window.moves") == 4
    page.emulate_media(reduced_motion="no-preference")
    page.clock.run_for(1000)
    assert page.evaluate("() => window.moves") > 50


def test_what_a_finger_presses_is_large_enough(open_page: OpenPage) -> None:
    page = open_page(full_page(), width=360, height=740, touch=True)
    small = page.locator("button:visible, summary:visible, input[type=range]:visible").evaluate_all(
        "(all) => all.map((x) => [x.outerHTML.slice(0, 90), x.getBoundingClientRect().height]).filter((x) => x[1] < 44)"
    )
    assert not small
    page.get_by_text("The way of the sound").click()
    page.wait_for_function("() => document.querySelector('svg.drawing').getBoundingClientRect().width < 299")
    frame = page.locator(".drawing-frame")
    assert frame.evaluate("(frame) => frame.scrollWidth - frame.clientWidth") == 0


ORDERED = (
    Figure("stands for", "12 orders that sound like this: low_water before two_masts, full_section last"),
    Figure("loudness as it comes", "-22.0 LUFS"),
    Figure("highest peak", "-12.5 dBTP"),
    Figure("level in the rests", "-101 dBFS"),
    Figure("its gate opens", "13 x"),
    Figure("brightness", "1038 Hz"),
    Figure("rings on after the take", "12.4 s"),
    Figure("latency", "0.0 to 19.9 ms"),
    Figure("beside the first", "19.3 steps"),
)
"""All that stands beside a version of a page of orders."""


def test_all_figures_fit_on_paper_and_on_a_screen(open_page: OpenPage) -> None:
    plain = synthetic_page(seconds=0.2)
    cards = tuple(replace(card, heading=f"{card.heading}, a heading of words", figures=ORDERED) for card in plain.cards)
    # 174 mm between the margins of a page of A4, at 96 pixels an inch.
    page = open_page(listening_page(replace(plain, cards=cards)), width=658)
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Play").is_visible()
    assert page.get_by_role("row", name="2 Version 2, a heading of words 19.3 steps 12 orders").is_visible()
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 658
    # Paper and fingers have no titles to hover over.
    assert page.locator(".short-heads").inner_text() == (
        "loudness: loudness as it comes; rests: level in the rests; gate: its gate opens;"
        " rings on: rings on after the take."
    )
    page.emulate_media(media="screen")
    page.set_viewport_size({"width": 1200, "height": 900})
    table = page.locator(".table-scroll")
    assert table.evaluate("(room) => room.scrollWidth - room.clientWidth") == 0
    assert table.locator("abbr").evaluate_all("(all) => all.map((a) => a.title)")[0] == "loudness as it comes"


def rgb(colour: str) -> list[int]:
    """Of "rgb(1, 2, 3)"."""
    return [int(x) for x in colour.removeprefix("rgb(").removesuffix(")").split(",")]
