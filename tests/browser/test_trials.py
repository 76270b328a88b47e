"""The blind tests of the listening page: favourite, difference heard or not, ranking, and their answers."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import binomtest

from chainsim.listen.page.plain_data import digest
from chainsim.listen.page.writing import listening_page
from tests.browser.audio_clock import listen
from tests.browser.conftest import OpenPage
from tests.browser.synthetic import synthetic_page

FIVE = (1.0, 0.5, 0.25, 0.4, 0.3)
AS_THEY_COME = "() => { chainsimPage.chance = (n) => n - 1; }"
"""Letters in the order of the versions."""

HIDDEN = "() => chainsimPage.player.hidden"

ANSWER_ALL = """async (right) => {
  const pause = () => new Promise((resolve) => setTimeout(resolve, 5));
  const button = (text) => [...document.querySelectorAll("#trials button")].find((b) => b.textContent === text);
  const { trials, xs } = window.asked;
  for (let i = 0; i < trials; i += 1) {
    for (const letter of ["A", "B", "X"]) {
      const letters = [...document.querySelectorAll(".trial-letter")];
      const listen = letters.find((b) => b.textContent.includes(`to ${letter}`));
      if (listen.classList.contains("heard")) continue;
      listen.click();
      for (let tries = 0; !listen.classList.contains("heard"); tries += 1) {
        if (tries === 12_000) throw new Error(`${letter} is not heard within a minute`);
        await pause();
      }
      await chainsimPage.player.context.advance(0.2);
    }
    const x = xs[i] === 0 ? "A" : "B";
    button(`X is ${i < right ? x : x === "A" ? "B" : "A"}`).click();
  }
}"""


@cache
def versions(*gains: float) -> str:
    return listening_page(synthetic_page(gains, seconds=1.0))


RENEW = """async (keys) => {
  const { data, shelf, player } = chainsimPage;
  data.title = "Quay lamps at night";
  data.versions = keys.slice(1);
  shelf.replaceAll(data.sounds.filter(({ key }) => keys.includes(key)));
  player.dispatchEvent(new CustomEvent("renewed"));
}"""
"""What a watched page does when it is written anew."""


def start(open_page: OpenPage, document: str | None = None, **how: Any) -> Any:
    page = open_page(document or versions(*FIVE), **how)
    page.evaluate(AS_THEY_COME)
    return page


def hear(page: Any, letters: str) -> None:
    """Press letters that do not sound, and hear 50 ms of each: it begins 150 ms after the order."""
    for letter in letters:
        page.keyboard.press(letter.lower())
        page.locator(".trial-letter.heard[aria-pressed=true]", has_text=f"Listen to {letter}").wait_for()
        listen(page, 0.2)


def press(page: Any, name: str) -> None:
    page.locator("#trials").get_by_role("button", name=name, exact=True).click()


def begin_abx(page: Any, xs: list[int], trials: int) -> None:
    """A test in which X is A where there is 0, and B where there is 1."""
    page.get_by_text("Do you hear a difference at all?").click()
    page.get_by_label("Trials; fixed once you begin").select_option(str(trials))
    page.evaluate(
        """({ xs, trials }) => {
          window.asked = { xs, trials };
          let turn = 0;
          chainsimPage.chance = () => xs[turn++];
        }""",
        {"xs": xs, "trials": trials},
    )
    press(page, "Begin the test")


def saved(page: Any) -> dict[str, Any]:
    with page.expect_download() as download:
        press(page, "Save answers")
    answers: dict[str, Any] = json.loads(Path(download.value.path()).read_text(encoding="utf-8"))
    return answers


def test_the_favourite_meets_all_others(open_page: OpenPage) -> None:
    page = start(open_page)
    page.evaluate("() => chainsimPage.player.setLevels('as it comes')")
    press(page, "Pick a favourite")
    room = page.locator(".trial-room")
    assert room.get_by_role("heading").inner_text() == "Which of these three do you like best?"
    assert page.evaluate(HIDDEN)
    page.evaluate("() => chainsimPage.player.setLevels('as it comes')")
    assert page.evaluate("() => chainsimPage.player.levels") == "equal"

    hear(page, "A")
    press(page, "This one B")
    assert "Listen to B and C first, please" in room.inner_text()
    hear(page, "BC")
    press(page, "This one B")
    assert "Round 2 of 2." in room.inner_text()
    assert not page.evaluate("() => chainsimPage.player.playing")
    # Letters as they come: the winner, Version 2, is A; Versions 4 and 5 are new.
    hear(page, "ABC")
    press(page, "This one C")

    result = room.inner_text()
    assert "Your favourite: Version 5" in result
    assert "Version 2 rather than Version 1 and Version 3" in result
    assert "Version 5 rather than Version 2 and Version 4" in result
    assert not page.evaluate(HIDDEN)
    assert page.evaluate("() => chainsimPage.player.levels") == "as it comes"

    press(page, "Done")
    (answer,) = saved(page)["answers"]
    assert [r["offered"] for r in answer["rounds"]] == [
        ["version-1", "version-2", "version-3"],
        ["version-2", "version-4", "version-5"],
    ]
    assert (answer["test"], answer["favourite"]) == ("favourite", "version-5")


def test_two_versions_make_one_round(open_page: OpenPage) -> None:
    page = start(open_page, versions(1.0, 0.5))
    press(page, "Pick a favourite")
    assert "Which of these two do you like best?" in page.locator(".trial-room").inner_text()
    hear(page, "AB")
    press(page, "This one A")
    assert "Your favourite: Version 1" in page.locator(".trial-room").inner_text()
    # The page is written anew, with one version less: the result stays, but the test cannot be done once more.
    page.evaluate(RENEW, ["take", "version-1"])
    assert "Your favourite: Version 1" in page.locator(".trial-room").inner_text()
    assert page.get_by_role("button", name="Once more").count() == 0
    press(page, "Done")
    page.get_by_text("There is one version here").wait_for()
    assert page.get_by_role("button", name="Pick a favourite").is_hidden()
    page.evaluate(RENEW, ["take", "version-1", "version-2"])
    press(page, "Pick a favourite")
    assert page.evaluate(HIDDEN)
    press(page, "Stop")
    assert saved(page)["page"] == "Quay lamps at night"


def test_a_sound_that_cannot_be_had(open_page: OpenPage) -> None:
    page = start(open_page, versions(1.0, 0.5, 0.25))
    page.evaluate(
        """() => {
          const { shelf } = chainsimPage;
          const plain = shelf.decoded.bind(shelf);
          window.broken = true;
          shelf.decoded = async (key, context) => {
            if (window.broken && key === "version-2") throw new Error("no Version 2");
            return plain(key, context);
          };
        }"""
    )
    press(page, "Pick a favourite")
    page.get_by_text("A sound of this test cannot be had").wait_for()
    press(page, "Go on")
    page.get_by_text("A sound of this test cannot be had").wait_for()
    hear(page, "A")
    page.evaluate("() => { window.broken = false; }")
    press(page, "Go on")
    hear(page, "BC")
    press(page, "This one B")
    press(page, "Once more")
    page.evaluate("() => { window.broken = true; }")
    page.keyboard.press("b")
    page.get_by_text("A sound of this test cannot be had").wait_for()
    # Which one, would tell who hides behind the letter.
    assert "Version 2" not in page.locator("#notices").inner_text()
    press(page, "Stop the test")
    assert "This did not work: no Version 2." in page.locator("#notices").inner_text()
    assert not page.evaluate(HIDDEN)


def test_eight_of_ten_show_no_difference(open_page: OpenPage) -> None:
    """CHECKS AB-2: 8 of 10 show none."""
    page = start(open_page)
    xs = [0, 1, 1, 0, 1, 0, 0, 0, 1, 1]
    begin_abx(page, xs, 10)
    assert "Trial 1 of 10." in page.locator(".trial-room").inner_text()
    page.evaluate(ANSWER_ALL, 8)

    result = page.locator(".trial-room").inner_text()
    assert "8 of 10 right (p = 0.0547;" in result
    assert "Not shown." in result
    press(page, "Done")
    file = saved(page)
    assert (file["format"], file["page"], file["take"]) == (1, "Quay lamps", "lantern_waltz.flac")
    (answer,) = file["answers"]
    assert [a["x"] for a in answer["answers"]] == ["ab"[x] for x in xs]
    counted = sum(a["x"] == a["answer"] for a in answer["answers"])
    assert counted == answer["right"] == 8
    exact = binomtest(counted, len(answer["answers"]), 0.5, alternative="greater").pvalue
    assert answer["p"] == pytest.approx(exact, rel=1e-12)
    assert (answer["a"]["name"], answer["b"]["name"]) == ("Version 1", "Version 2")


SEEN = """() => {
  const body = document.body.cloneNode(true);
  body.querySelectorAll("script, [hidden]").forEach((element) => element.remove());
  return body.outerHTML;
}"""


def test_nothing_tells_what_x_is(open_page: OpenPage) -> None:
    spy = """
      window.orders = [];
      for (const order of ["start", "stop"]) {
        const plain = AudioBufferSourceNode.prototype[order];
        AudioBufferSourceNode.prototype[order] = function (when, ...rest) {
          window.orders.push(order);
          return plain.call(this, when, ...rest);
        };
      }
    """
    page = start(open_page, versions(1.0, 0.5), before=spy)
    begin_abx(page, [0, 1] * 5, 10)
    hear(page, "AB")
    looks = {}
    for x in "AB":
        hear(page, "X")
        hear(page, "A")
        page.evaluate("() => { window.orders = []; }")
        hear(page, "X")
        # From A to X the sound stops and begins anew, also where X is A.
        assert page.evaluate("() => window.orders.filter((order) => order === 'start').length") == 1
        # The page as it is seen, but for the place in the take and the number of the trial.
        looks[x] = re.sub(r"(?<![Vv]ersion[ -])[\d.]+", "", page.evaluate(SEEN)).split("<")
        page.keyboard.press("b")
        page.keyboard.press("Enter")
        page.get_by_text(f"Trial {len(looks) + 1} of 10.", exact=True).wait_for()
    assert any("Version 1" in piece for piece in looks["A"])
    assert [pair for pair in zip(looks["A"], looks["B"], strict=True) if pair[0] != pair[1]] == []


def test_a_test_given_up_has_no_p(open_page: OpenPage) -> None:
    page = start(open_page)
    begin_abx(page, [0] * 10, 10)
    hear(page, "ABX")
    press(page, "X is A")
    page.keyboard.press("Escape")
    assert "Stop now?" in page.locator(".trial-room").inner_text()
    assert page.evaluate(HIDDEN)
    page.keyboard.press("Escape")
    assert "Given up after 1 of 10 trials." in page.locator(".trial-room").inner_text()
    assert not page.evaluate(HIDDEN)
    press(page, "Done")
    (answer,) = saved(page)["answers"]
    assert (answer["finished"], answer["right"], answer["p"]) == (False, None, None)
    assert [a["x"] for a in answer["answers"]] == ["a"]


def test_two_like_versions_are_not_compared(open_page: OpenPage) -> None:
    page = start(open_page)
    page.get_by_text("Do you hear a difference at all?").click()
    page.get_by_label("B", exact=True).select_option("version-1")
    press(page, "Begin the test")
    assert "Choose two different versions" in page.locator("#trials").inner_text()
    press(page, "Any two")
    press(page, "Begin the test")
    assert page.evaluate(HIDDEN)
    # Nothing was answered: nothing is to be kept.
    page.keyboard.press("Escape")
    assert not page.evaluate(HIDDEN)
    assert page.get_by_role("button", name="Save answers").is_hidden()


def test_rankings_make_a_mean(open_page: OpenPage) -> None:
    document = synthetic_page((1.0, 0.5, 0.25), seconds=1.0)
    first = next(i for i, sound in enumerate(document.sounds) if sound.key == "version-1")
    sounds = list(document.sounds)
    sounds[first] = replace(sounds[first], name="<script>alert(1)</script>")
    page = start(open_page, listening_page(replace(document, sounds=tuple(sounds))))
    page.get_by_text("Bring them all into an order").click()
    press(page, "Begin the ranking")
    room = page.locator(".trial-room")
    press(page, "This is my order")
    assert "Listen to A, B and C first, please." in room.inner_text()
    assert page.get_by_role("button", name="Move A up").is_disabled()
    # Orders C A B, A C B and A B C. Means of A (2 + 1 + 1) / 3, of C (1 + 2 + 3) / 3, of B (3 + 3 + 2) / 3.
    hear(page, "ABC")
    press(page, "Move C up")
    assert page.evaluate("() => document.activeElement.getAttribute('aria-label')") == "Move C up"
    press(page, "Move C up")
    # On top there is no higher place: the focus goes to its other arrow.
    assert page.evaluate("() => document.activeElement.getAttribute('aria-label')") == "Move C down"
    assert page.locator("#announcements").inner_text() == "C is now 1 of 3."
    for move in ("Move C up", None):
        press(page, "This is my order")
        press(page, "Once more")
        hear(page, "ABC")
        if move is not None:
            press(page, move)
    press(page, "This is my order")
    assert "<script>alert(1)</script>" in room.inner_text()
    press(page, "Done")

    rows = page.locator(".answers-all table tbody tr").all_inner_texts()
    assert [row.split("\t") for row in rows] == [
        ["<script>alert(1)</script>", "1.33"],
        ["Version 3", "2.00"],
        ["Version 2", "2.67"],
    ]
    answers = saved(page)["answers"]
    assert [a["order"] for a in answers] == [
        ["version-3", "version-1", "version-2"],
        ["version-1", "version-3", "version-2"],
        ["version-1", "version-2", "version-3"],
    ]
    assert {v["key"]: v["digest"] for v in answers[0]["versions"]} == {s.key: digest(s) for s in sounds[1:]}
    assert all(a["shown"] == ["version-1", "version-2", "version-3"] for a in answers)


def test_answers_outlive_a_reload_until_they_are_forgotten(open_page: OpenPage) -> None:
    page = start(open_page, versions(1.0, 0.5))
    press(page, "Pick a favourite")
    hear(page, "AB")
    press(page, "This one B")
    page.reload()
    assert "Your favourite: Version 2" in page.locator(".answers").inner_text()
    press(page, "Forget")
    press(page, "Keep them")
    press(page, "Forget")
    press(page, "Forget all")
    assert page.locator(".answers-all").is_hidden()
    page.reload()
    assert page.locator(".answers-all").is_hidden()


def test_the_keys_are_enough(open_page: OpenPage) -> None:
    page = open_page(versions(1.0, 0.5, 0.25))
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.textContent") == "Pick a favourite":
            break
    page.keyboard.press("Enter")
    assert page.evaluate("() => document.activeElement.textContent") == "Which of these three do you like best?"
    hear(page, "ABC")
    page.keyboard.press("Enter")
    assert page.evaluate("() => document.activeElement.textContent") == "What came of it"
    assert "Your favourite: Version" in page.locator(".trial-room").inner_text()
    for _ in range(2):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    # Done: the focus is where the test was begun.
    assert page.evaluate("() => document.activeElement.textContent") == "Pick a favourite"


@pytest.mark.parametrize("dark", [False, True])
def test_a_narrow_screen_is_enough(open_page: OpenPage, axe: Callable[[Any], list[dict[str, Any]]], dark: bool) -> None:
    page = start(open_page, width=320, dark=dark, reduced_motion=True, touch=True)
    begin_abx(page, [0] * 10, 10)
    hear(page, "ABX")
    found = [] if dark else axe(page)
    page.keyboard.press("Escape")
    page.get_by_text("Bring them all into an order").click()
    press(page, "Begin the ranking")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 320
    # A finger needs 44 CSS pixels (WCAG 2.5.5).
    for box in page.evaluate(
        "() => [...document.querySelectorAll('.trial-room button')].map((b) => b.getBoundingClientRect().toJSON())"
    ):
        assert min(box["width"], box["height"]) >= 44 - 0.5, box
    found += axe(page)
    assert [(fault["id"], fault["impact"]) for fault in found] == []


SHOWN = """() => {
  const drawn = [...document.querySelectorAll("#timeline canvas:not(.lane-times)")].filter((canvas) => {
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    return !canvas.hidden && data.some((value) => value > 0);
  });
  const named = [...document.querySelectorAll("#timeline *, #transport *")].filter((element) =>
    /Version 2/.test(element.getAttribute("aria-label") ?? element.textContent),
  );
  const meter = [...document.querySelectorAll(".meter")].filter((element) => element.checkVisibility());
  const pressed = [...document.querySelectorAll("#versions [aria-pressed=true]")];
  return [drawn, named, meter, pressed].map((elements) => elements.length > 0);
}"""
"""Pictures, its name, the level, and which of the versions: is any to be seen?"""


def test_nothing_that_is_hidden_shows(open_page: OpenPage) -> None:
    page = start(open_page)
    page.evaluate("() => chainsimPage.player.choose('version-2')")
    assert page.evaluate(SHOWN) == [True, True, True, True]
    press(page, "Pick a favourite")
    hear(page, "B")
    assert page.evaluate(SHOWN) == [False, False, False, False]
    page.keyboard.press("3")
    assert page.locator("#versions button:enabled").count() == 0
    assert page.evaluate("() => chainsimPage.player.current") == "version-2"
    press(page, "Stop")
    assert page.evaluate("() => chainsimPage.player.current") == "version-2"
    assert page.evaluate(SHOWN) == [True, True, True, True]


def test_letters_are_the_readers_own_where_he_says_so(open_page: OpenPage) -> None:
    page = start(open_page)
    page.get_by_text("Keys", exact=True).click()
    page.get_by_label("Keys of this page do something").uncheck()
    press(page, "Pick a favourite")
    page.keyboard.press("a")
    page.evaluate("() => chainsimPage.player.prepare(chainsimPage.shelf.keys())")  # by then it would play
    assert not page.evaluate("() => chainsimPage.player.playing")
    page.keyboard.press("Escape")
    assert not page.evaluate(HIDDEN)
