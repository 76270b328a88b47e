"""Foot at the keys: what is pressed is heard, judged, and becomes a cue file that says the same."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path

import pytest

from chainsim.batch.listening.excerpt import Excerpt
from chainsim.listen.page.writing import listening_page
from chainsim.sketch.loading import load_sketch
from chainsim.sketch.timeline import moments
from tests.browser.audio_clock import AHEAD_S, listen, until_chosen, until_playing
from tests.browser.conftest import OpenPage
from tests.browser.foot_set import (
    CUES,
    DECODES_LATE,
    KEYS,
    LEVELS,
    PRESSES,
    SECONDS,
    SET,
    SOUNDS,
    hear_key,
    loudest,
    press_briefly,
    rows,
    saved,
    set_document,
    set_page,
    shown,
)


def test_presses_are_heard_and_shown(open_page: OpenPage) -> None:
    page = open_page(set_document())
    assert shown(page) == "the sketch as written"
    page.keyboard.press(KEYS["B"])
    page.wait_for_function(SOUNDS, arg=hear_key("<b>tide</b>, low"))
    assert shown(page) == "<b>tide</b>, low"
    switch = page.locator("[data-switch]")
    assert [switch.nth(i).get_attribute("aria-pressed") for i in range(4)] == ["false", "true", "false", None]
    assert page.evaluate(LEVELS) == "as it comes"
    page.keyboard.press(KEYS["UP"])
    assert page.locator(".foot-bank").text_content() == "bank Night"
    assert switch.nth(0).text_content() == "A: <b>tide</b>, low, key S"
    assert page.locator("#announcements").text_content() == "bank Night, <b>tide</b>, low"


def test_a_hold_and_a_mute(open_page: OpenPage) -> None:
    """Held for 200 ms, as the set's foot has it; under a mute nothing comes out of the player."""
    page = open_page(set_document(), still_timers=True)
    page.keyboard.down(KEYS["A"])
    page.clock.run_for(199)
    assert shown(page) == "the sketch as written"
    page.clock.run_for(1)
    assert shown(page) == "dry"
    page.keyboard.up(KEYS["A"])
    assert shown(page) == "dry"
    page.keyboard.down(KEYS["A"])
    page.clock.run_for(199)
    page.keyboard.up(KEYS["A"])
    assert shown(page) == "lanterns"
    page.get_by_role("button", name="Play from the top").click()
    until_playing(page, hear_key("dry"))
    listen(page, 0.08)
    page.clock.run_for(15)  # it looks that often where the take is: the second press is 1 ms behind the first
    until_playing(page, hear_key("lanterns"))
    listen(page, 0.16)
    page.get_by_role("button", name="hold: mute (E)").click()
    assert shown(page) == "muted"
    listen(page, 0.16)
    page.get_by_role("button", name="hold: sound again (E)").click()
    listen(page, 0.16)
    loud, muted, again = loudest(page, (0.16, 0.24), (0.28, 0.4), (0.44, 0.56))
    assert loud > 0.1
    assert muted < 1e-3
    assert again == pytest.approx(loud, rel=0.01)


def test_what_is_pressed_before_a_sound_is_decoded_stays_pressed(open_page: OpenPage) -> None:
    """All at the beginning of the take: where the first sound is there at last, nothing jumps."""
    page = open_page(set_document(), before=DECODES_LATE)
    for switch in ("B", "A", "E"):
        press_briefly(page, switch)
    assert shown(page) == "lanterns with echo on"
    page.evaluate("() => letItDecode()")
    page.wait_for_function(SOUNDS, arg=hear_key("lanterns with echo on"))
    assert shown(page) == "lanterns with echo on"
    press_briefly(page, "UP")
    assert [row[1] for row in rows(page, "Your presses")] == ["UP", "E", "A", 'B, "low"']


def test_a_sound_that_the_page_lacks_is_silence(open_page: OpenPage) -> None:
    """As where a board reaches more sounds than a page holds."""
    whole = set_page()
    assert whole.foot is not None
    some = [sound for sound in whole.foot["sounds"] if sound["patch"] != "lanterns"]
    page = open_page(listening_page(replace(whole, foot={**whole.foot, "sounds": some})))
    page.get_by_role("button", name="Play from the top").click()
    until_playing(page, hear_key("the sketch as written"))
    listen(page, 0.16)
    press_briefly(page, "A")
    assert shown(page) == "lanterns"
    assert page.locator(".foot-hint").text_content() == "This sound is not on this page: silence."
    listen(page, 0.16)
    page.keyboard.press(KEYS["B"])
    until_playing(page, hear_key("<b>tide</b>, low"))
    listen(page, 0.16)
    loud, silent, again = loudest(page, (0.08, 0.16), (0.2, 0.32), (0.36, 0.48))
    assert silent < 1e-3
    assert min(loud, again) > 0.1


def test_presses_become_a_file_of_cues_that_says_the_same(open_page: OpenPage, tmp_path: Path) -> None:
    page = open_page(set_document())
    page.get_by_role("button", name="Play from the top").click()
    until_playing(page)
    for after, keys in ((0.264, "B"), (0.304, "E"), (0.304, "UP"), (0.304, "A")):
        listen(page, after)
        press_briefly(page, keys)
    page.get_by_role("button", name="hold: dry (A)").click()
    pressed = page.evaluate(PRESSES)
    assert [p["gesture"]["switch"] for p in pressed] == ['B, "low"', "E", "UP", "A", "A"]
    # The take began 60 ms after it was asked for; a file tells two presses apart by a millisecond.
    assert [p["actsMs"] for p in pressed] == [204, 508, 812, 1116, 1117]
    path, name = saved(page, tmp_path)
    # Where the foot comes down before it acts, the list has both, the former as the file has it.
    down = [row[0].partition("down at ")[2].replace("\xa0s", "") for row in reversed(rows(page, "Your presses"))]
    written = [line.split(",")[0] for line in path.read_text().splitlines()[1:]]
    assert down == ["", written[1], "", *written[3:]]
    assert name == "lamps_b_quay_b_presses.csv"
    (tmp_path / "set.toml").write_text(f'cue_file = "{path.name}"\n{SET}', encoding="utf-8")
    rendered = [m for m in moments(load_sketch(tmp_path / "set.toml")) if m.cue is not None]
    assert [m.at_s for m in rendered] == pytest.approx([p["actsMs"] / 1000 for p in pressed], abs=1e-6)
    for moment, press in zip(rendered, pressed, strict=True):
        switched = [[name, on] for name, on in sorted(moment.position.switched)]
        assert {**asdict(moment.position), "switched": switched} == press["position"]


def test_a_part_of_the_take(open_page: OpenPage, tmp_path: Path) -> None:
    """Times are those of the take; the board begins where the cues before have brought it; the file has them, too."""
    cues = "".join(
        f"[[cues]]\nat_s = {at_s}\n{what}\n"
        for at_s, what in ((10, 'patch = "<b>tide</b>, low"'), (61, 'on = "echo"'), (70, 'press = "A"'))
    )
    page = open_page(listening_page(set_page(cues, Excerpt(60.0, 60.0 + SECONDS))))
    assert shown(page) == "<b>tide</b>, low"
    assert [row[1:] for row in rows(page, "The set's own cues")] == [["echo on", "to come"]]
    page.keyboard.press(KEYS["B"])
    assert rows(page, "Your presses")[0][0].startswith("1:00.00")
    assert "down at" not in rows(page, "Your presses")[0][0]
    path, _ = saved(page, tmp_path)
    lines = ["at_s,press,hold,patch", '10,,,"<b>tide</b>, low"', '60,"B, ""low"""', "70,A"]
    assert path.read_text().split("\n") == [*lines, ""]
    told = page.locator("#foot .note", has_text="Saved as").inner_text()
    assert "from 1:00.0 to 1:02.5 of the take; before and after that stand the set's own cues" in told
    assert "Muted" not in told
    page.get_by_role("button", name="hold: mute (E)").click()
    saved(page, tmp_path)
    told = page.locator("#foot .note strong").inner_text()
    assert told.strip() == "Muted from 1:00.0 to the end: the set's later cues keep it."


def test_what_is_too_fast_is_marked(open_page: OpenPage) -> None:
    """Other switch 300 ms. B acts at once, E when it is let go, after 60: B to E takes 360 ms, E to B 240."""
    page = open_page(set_document())
    until_chosen(page)
    page.evaluate(
        """() => {
          const add = (name, ms) => chainsimPage.foot.list.add({ switch: name, kind: "press" }, ms);
          [['B, "low"', 100], ["E", 459], ['B, "low"', 699], ["E", 1059], ["UP", 1298]].forEach((p) => add(...p));
        }"""
    )
    page.evaluate("() => chainsimPage.player.seek(2)")
    page.keyboard.press(KEYS["UP"])
    marks = [row[2].replace("\xa0", " ").partition("too fast: ")[2] for row in reversed(rows(page, "Your presses"))]
    assert marks == ["", "0.35 s, this foot needs 0.36 s", "", "", "0.23 s, this foot needs 0.24 s", ""]


def test_undo_clear_and_pressing_anew(open_page: OpenPage) -> None:
    page = open_page(set_document())
    until_chosen(page)
    page.keyboard.press(KEYS["B"])
    press_briefly(page, "E")
    press_briefly(page, "A")
    undo = page.get_by_role("button", name="Undo")
    undo.click()
    assert shown(page) == "<b>tide</b>, low with echo on"
    undo.click()
    assert shown(page) == "<b>tide</b>, low"
    page.get_by_role("button", name="Clear all").click()
    assert shown(page) == "the sketch as written"
    assert page.get_by_role("button", name="Save as cues").is_disabled()
    undo.click()
    assert [row[1] for row in rows(page, "Your presses")] == ['B, "low"']
    page.evaluate("() => chainsimPage.player.seek(2)")
    press_briefly(page, "E")
    page.evaluate("() => chainsimPage.player.seek(1)")
    assert shown(page) == "<b>tide</b>, low"  # what comes later waits there
    press_briefly(page, "A")
    assert [row[1] for row in rows(page, "Your presses")] == ["A", 'B, "low"']


def test_what_was_pressed_is_done_again_as_the_take_goes_by(open_page: OpenPage) -> None:
    page = open_page(set_document(), still_timers=True)
    until_chosen(page)
    at_s = 0.456 - AHEAD_S
    page.evaluate("(s) => chainsimPage.player.seek(s)", at_s)
    page.keyboard.press(KEYS["B"])
    before, pressed = hear_key("the sketch as written"), hear_key("<b>tide</b>, low")
    page.wait_for_function(SOUNDS, arg=pressed)
    page.evaluate(
        """() => {
          const { player } = chainsimPage;
          window.heard = [];
          player.addEventListener("sound", ({ detail }) => window.heard.push([detail.key, player.position]));
        }"""
    )
    page.get_by_role("button", name="Play from the top").click()
    until_playing(page, before)
    listen(page, 0.448)
    page.clock.run_for(15)  # it looks that often where the take is
    assert page.evaluate("() => window.heard") == [[before, 0.0]]
    listen(page, 0.008)
    page.clock.run_for(15)
    page.wait_for_function("(key) => window.heard.some(([heard]) => heard === key)", arg=pressed)
    assert page.evaluate("() => window.heard") == [[before, 0.0], [pressed, pytest.approx(at_s)]]


def test_the_sets_own_cues_beside_it(open_page: OpenPage) -> None:
    page = open_page(set_document(CUES))
    until_chosen(page)
    assert [row[1:] for row in rows(page, "The set's own cues")] == [
        ["patch <b>tide</b>, low", "to come"],
        ["echo on", "to come"],
    ]
    page.evaluate("() => chainsimPage.player.seek(0.9)")
    page.keyboard.press(KEYS["B"])
    page.evaluate("() => chainsimPage.player.seek(1.1)")
    press_briefly(page, "E")
    page.evaluate("() => chainsimPage.player.seek(2)")
    page.keyboard.press(KEYS["UP"])
    assert [row[2] for row in rows(page, "The set's own cues")] == ["late by 0.40 s", "met"]
