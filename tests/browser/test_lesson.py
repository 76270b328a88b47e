"""A lesson in a browser: sounds change places, answers wait, keys and narrow screens work, names stay text."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from chainsim.listen.lessons.claims import Reading, compared
from chainsim.listen.lessons.course import StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import excerpt
from chainsim.listen.lessons.making import lesson_of
from chainsim.listen.lessons.page import lesson_page
from chainsim.sketch.loading import parse_sketch
from tests.browser.audio_clock import AHEAD_S, listen, until_playing

RATE_HZ = 16_000
TITLE = "<script>alert(1)</script>"


@cache
def page_text() -> str:
    """Two steps on a tone of two seconds: dry and half as loud; dry and one that is twice as high."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    dry = excerpt(0.2 * np.sin(2.0 * np.pi * 330.0 * t), RATE_HZ, "a tone")
    sketch = parse_sketch('title = "<b>"\nchain = ["half"]\n[blocks.half]\ntype = "gain"\ngain_db = -6')
    soft = dry.heard("<b>softer</b>", 0.1 * np.sin(2.0 * np.pi * 330.0 * t)[:, None])
    soft = type(soft)(soft.name, soft.audio, soft.sample_rate_hz, sketch=sketch)
    high = dry.heard("higher", 0.2 * np.sin(2.0 * np.pi * 660.0 * t)[:, None])
    claim = compared(
        Reading("peak before", -14.0, "dBFS"), Reading("peak after", -20.0, "dBFS"), least=1.0, expects="more",
        more="It is {difference} louder.", less="It is {difference} quieter.", same="It is as loud.",
    )  # fmt: skip
    words = {"listen_for": "The level.", "question": "Why?", "answer": "Because of the gain."}
    drafts = (
        StepDraft("A gain", "It turns down.", (dry.dry, soft), (claim,), **words, levels="as it comes",
                  picture=level_picture((dry.dry, soft), "Two lines.")),
        StepDraft("An octave", "It is twice as high.", (dry.dry, high), (), **words,
                  picture=spectrum_picture((dry.dry, high), "Two peaks.")),
    )  # fmt: skip
    return lesson_page(lesson_of("tone", TITLE, "What is <i>heard</i>?", drafts, dry, notes=("Measured.",)))


def current(page: Any) -> str | None:
    """Name of what is chosen."""
    name: str | None = page.evaluate(
        "() => { const { player, shelf } = chainsimPage; return player.current && shelf.sound(player.current).name; }"
    )
    return name


def test_sounds_of_a_step_take_over_in_time_at_the_step_s_levels(open_page: Any) -> None:
    page = open_page(page_text())
    first, second = (page.locator("#step-1 [data-hear]").nth(i) for i in range(2))
    first.click()
    until_playing(page)
    listen(page, 0.24)
    assert page.evaluate("chainsimPage.player.levels") == "as it comes"
    second.click()
    page.wait_for_function("() => document.querySelector('#step-1 [data-hear]:nth-child(2)').ariaPressed === 'true'")
    assert current(page) == "<b>softer</b>"
    assert first.get_attribute("aria-pressed") == "false"
    listen(page, 0.24)
    assert page.evaluate("chainsimPage.player.position") == pytest.approx(0.48 - AHEAD_S)
    assert page.locator("#step-1 .curves-now").get_attribute("visibility") == "visible"
    second.click()
    assert not page.evaluate("chainsimPage.player.playing")


def test_one_sound_in_two_steps_shows_where_it_was_chosen(open_page: Any) -> None:
    page = open_page(page_text())
    page.locator("#step-1 [data-hear]").first.click()
    until_playing(page)
    page.locator("#step-2 [data-hear]").first.click()
    assert page.locator("[data-hear][aria-pressed=true]").count() == 1
    assert page.locator("#step-2 [data-hear][aria-pressed=true]").count() == 1
    assert page.evaluate("chainsimPage.player.levels") == "equal"


def test_the_answer_waits_until_it_is_asked_for(open_page: Any) -> None:
    page = open_page(page_text())
    answer = page.locator("#step-1 .question details p").first
    assert not answer.is_visible()
    page.locator("#step-1 summary", has_text="Show the answer").click()
    assert answer.is_visible()
    assert answer.inner_text() == "Because of the gain."
    # The claim of this step does not hold, and the answer says so; the other step's does not.
    assert page.locator("#step-1 .question .note").is_visible()
    assert page.locator("#step-2 .question .note").count() == 0
    assert page.locator("#step-1 .claim.otherwise").inner_text().startswith("On this take it is otherwise")


def test_a_step_goes_by_keys_alone(open_page: Any) -> None:
    page = open_page(page_text())
    page.locator("#step-2 [data-hear]").first.focus()
    page.keyboard.press("2")
    until_playing(page)
    assert current(page) == "higher"
    page.keyboard.press("1")
    page.locator("#step-2 [data-hear][aria-pressed=true]", has_text="the horn alone").wait_for()
    assert current(page) == "the horn alone"
    page.keyboard.press("p")
    assert not page.evaluate("chainsimPage.player.playing")
    page.locator("#step-2 summary").first.focus()
    page.keyboard.press("Enter")
    assert page.locator("#step-2 .question details p").is_visible()


def test_levels_can_be_changed_for_a_step(open_page: Any) -> None:
    page = open_page(page_text())
    page.locator("#step-1 [data-hear]").first.click()
    until_playing(page)
    page.locator("#step-1").get_by_role("button", name="at one loudness").click()
    assert page.evaluate("chainsimPage.player.levels") == "equal"
    assert page.locator("#step-1 .hear-levels [aria-pressed=true]").inner_text() == "at one loudness"


def test_a_wire_of_a_step_s_drawing_plays(open_page: Any) -> None:
    page = open_page(page_text())
    page.locator("#step-1 .drawing [data-sound]").last.focus()
    page.keyboard.press("Enter")
    until_playing(page)
    assert current(page) == "<b>softer</b>"


def test_names_stay_text(open_page: Any) -> None:
    page = open_page(page_text())
    assert page.locator("h1").inner_text() == TITLE
    assert page.locator("#step-1 [data-hear]").nth(1).inner_text().endswith("<b>softer</b>")
    assert page.locator("main b, main i").count() == 0


@pytest.mark.parametrize(("width", "dark"), [(320, True), (1200, False)])
def test_it_fits_and_axe_finds_nothing_serious(open_page: Any, axe: Any, width: int, dark: bool) -> None:
    page = open_page(page_text(), width=width, dark=dark)
    page.locator("#step-1 summary").first.click()
    page.locator("#step-1 .hear-levels button").first.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    heights = page.locator("#step-1 .claim-figures dd").evaluate_all("all => all.map(dd => dd.offsetHeight)")
    assert max(heights) < 30, "no figure breaks before its unit"
    found = [v for v in axe(page) if v["impact"] in ("serious", "critical")]
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found] == []
