"""Foot at the keys beside all else on its page: other versions, blind tests, a page written anew, keys and fingers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from chainsim.listen.page.writing import write_listening_folder
from tests.browser.audio_clock import listen, until_playing
from tests.browser.conftest import OpenPage
from tests.browser.foot_set import (
    CUES,
    KEYS,
    LEVELS,
    PRESSES,
    SOUNDS,
    hear_key,
    press_briefly,
    rows,
    set_document,
    set_page,
    shown,
)
from tests.browser.watched import SOONER


def test_another_version_leaves_the_board_and_a_press_comes_back(open_page: OpenPage) -> None:
    page = open_page(set_document())
    page.keyboard.press(KEYS["B"])
    page.wait_for_function(SOUNDS, arg=hear_key("<b>tide</b>, low"))
    page.keyboard.press("2")
    until_playing(page, "version-2")
    listen(page, 0.16)
    assert page.evaluate(LEVELS) == "equal"  # as before the board had the player
    assert "Any press brings this board back" in str(page.locator(".foot-hint").text_content())
    press_briefly(page, "A")
    page.wait_for_function(SOUNDS, arg=hear_key("lanterns"))
    # The last order counts, also where what it asks for sounds already and another is on its way.
    page.evaluate(
        """(key) => {
          const chosen = chainsimPage.player.choose("version-2");
          document.body.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
          return chosen;
        }""",
        KEYS["UP"],
    )
    assert page.evaluate("() => chainsimPage.player.current") == hear_key("lanterns")


def test_a_blind_test_takes_the_board_away(open_page: OpenPage) -> None:
    page = open_page(set_document())
    press_briefly(page, "A")
    page.get_by_role("button", name="Pick a favourite").click()
    page.keyboard.press(KEYS["B"])
    assert not page.locator(".foot-switches").is_visible()
    page.keyboard.press("Escape")
    assert shown(page) == "lanterns"
    assert page.evaluate(LEVELS) == "equal"
    # Taken away, it listens to nothing; what it had done to the player is undone.
    page.keyboard.press(KEYS["B"])
    page.evaluate("() => chainsimPage.foot.close()")
    press_briefly(page, "E")
    assert page.evaluate(PRESSES)[-1]["gesture"]["switch"] == 'B, "low"'
    assert page.locator(".foot-panel").count() == 0
    assert page.evaluate(LEVELS) == "equal"


def test_a_page_written_anew_goes_on_with_what_was_pressed(open_page: OpenPage, tmp_path: Path) -> None:
    before, after = set_page(), set_page(CUES)
    write_listening_folder(before, tmp_path / "board", watched=True)
    page = open_page(tmp_path / "board" / "index.html", before=SOONER)
    page.keyboard.press(KEYS["B"])
    page.wait_for_function(SOUNDS, arg=hear_key("<b>tide</b>, low"))
    write_listening_folder(after, tmp_path / "board", watched=True)
    page.get_by_text("Last taken up at").wait_for()
    assert shown(page) == "<b>tide</b>, low"
    assert len(rows(page, "The set's own cues")) == 2
    assert page.evaluate(LEVELS) == "as it comes"
    press_briefly(page, "E")
    assert [row[1] for row in rows(page, "Your presses")] == ["E", 'B, "low"']
    write_listening_folder(replace(before, foot=None), tmp_path / "board", watched=True)
    page.locator("#foot").wait_for(state="hidden")
    assert page.locator(".places a:visible").all_inner_texts() == ["What you hear", "Listen blind", "What is in each"]
    assert page.locator(".foot-panel").count() == 0
    assert page.evaluate(LEVELS) == "equal"


def test_by_keyboard_alone_and_by_a_screen_reader(open_page: OpenPage) -> None:
    page = open_page(set_document())
    page.get_by_label("The letters press the switches from anywhere on this page").uncheck()
    page.keyboard.press(KEYS["B"])
    assert shown(page) == "the sketch as written"
    switch = page.locator("[data-switch]").nth(1)
    switch.focus()
    page.keyboard.press("Enter")
    assert shown(page) == "<b>tide</b>, low"
    assert not page.evaluate("() => chainsimPage.player.playing")
    page.locator("[data-switch]").nth(0).evaluate("(button) => button.click()")
    assert shown(page) == "lanterns"
    # Some browsers do not say which pointer a click came from, nor that it came from none.
    switch.evaluate("(button) => button.dispatchEvent(new MouseEvent('click', { bubbles: true }))")
    assert shown(page) == "<b>tide</b>, low"


def test_by_touch_on_a_narrow_screen(open_page: OpenPage) -> None:
    page = open_page(set_document(CUES), width=320, height=640, touch=True)
    # A link at the top leads past the versions, and under the player, which stays there.
    page.locator(".places").get_by_text("Foot at the keys").tap()
    top = page.locator(".transport").bounding_box()
    assert top["y"] + top["height"] <= page.locator("#foot-heading").bounding_box()["y"] <= 200
    # Under it all of the board is in sight, and wide enough for a finger.
    page.locator(".foot-panel").evaluate("(panel) => panel.scrollIntoView()")
    top = page.locator(".transport").bounding_box()
    boxes = [b.bounding_box() for b in page.locator(".foot-switches button").all()]
    assert min(b["y"] for b in boxes) >= top["y"] + top["height"]
    assert max(b["y"] + b["height"] for b in boxes) <= 480
    assert min(b["height"] for b in boxes) >= 44
    page.locator("[data-switch]").nth(1).tap()
    assert shown(page) == "<b>tide</b>, low"
    assert len(rows(page, "Your presses")) == 1
    # A finger that drifts scrolls nothing: the switch is let go where it is lifted, and acts.
    box = page.locator("[data-switch]").nth(0).bounding_box()
    finger, x, y = page.context.new_cdp_session(page), box["x"] + 20, box["y"] + 60
    for kind, dy in (("touchStart", 0), ("touchMove", -15), ("touchMove", -30), ("touchMove", -45), ("touchEnd", None)):
        points = [] if dy is None else [{"x": x, "y": y + dy}]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert [row[1].removeprefix("hold ") for row in rows(page, "Your presses")] == ["A", 'B, "low"']
    # What became of each cue is to be seen without scrolling.
    assert page.evaluate(
        "() => [...document.querySelectorAll('#foot .table-scroll')].map((t) => t.scrollWidth - t.clientWidth)"
    ) == [0, 0]
    assert page.evaluate("() => document.documentElement.scrollWidth") == 320


def test_nothing_bars_the_way(open_page: OpenPage, axe: Any) -> None:
    page = open_page(set_document(CUES))
    page.keyboard.press(KEYS["B"])
    press_briefly(page, "A")
    page.get_by_role("button", name="Save as cues").click()
    for theme in ("light", "dark"):
        page.evaluate("(theme) => document.documentElement.setAttribute('data-theme', theme)", theme)
        found = [
            (v["id"], [n["html"] for n in v["nodes"]]) for v in axe(page) if v["impact"] in ("serious", "critical")
        ]
        assert found == []
