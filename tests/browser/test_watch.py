"""A page as a folder, and one beside the board that takes up what is written anew."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chainsim.listen.page.model import ListeningPage
from chainsim.listen.page.watcher import Watching, tell_open_page, tell_watcher
from chainsim.listen.page.writing import write_listening_folder
from tests.browser.audio_clock import AHEAD_S, listen, until_playing
from tests.browser.capture import captured, places
from tests.browser.conftest import OpenPage
from tests.browser.foot_set import set_page
from tests.browser.synthetic import RATE_HZ, noise, page_sound, synthetic_page
from tests.browser.test_listening import player
from tests.browser.watched import SOONER, until_read

LACKS = "is not beside this page, or the browser may not read it there; a page in one file needs none"
SECONDS = 2.0
DECODED = "(keys) => keys.every((key) => chainsimPage.shelf._sizes.has(chainsimPage.shelf.sound(key).digest))"
WANTED = """() => {
  const { shelf } = chainsimPage;
  return shelf.keys().filter((key) => shelf._decoded.has(shelf.sound(key).digest));
}"""
"""Sounds that were asked for, whether they are there yet or not."""


def test_sounds_are_read_when_they_are_wanted(open_page: OpenPage, tmp_path: Path) -> None:
    page_of_many = synthetic_page([0.9**k for k in range(14)], seconds=0.5)
    write_listening_folder(page_of_many, tmp_path / "many")
    page = open_page(tmp_path / "many" / "index.html")
    read: list[str] = []
    page.on("request", lambda r: read.append(Path(r.url).name.split(".")[0]))
    page.locator("[data-version=version-11]").click()
    until_playing(page, "version-11")
    # What has a key of its own, and what stands beside, is read when there is time; the others when they are pressed.
    near = ["take", *(f"version-{k}" for k in range(1, 13))]
    page.wait_for_function(DECODED, arg=near)
    assert page.evaluate(WANTED) == near
    assert "version-11" in read
    assert set(read) <= set(near)


def test_a_sound_that_is_gone_is_told(open_page: OpenPage, tmp_path: Path) -> None:
    write_listening_folder(synthetic_page([0.9**k for k in range(11)], seconds=0.5), tmp_path / "many")
    (take,) = (tmp_path / "many" / "sounds").glob("take.*")
    take.unlink()
    page = open_page(tmp_path / "many" / "index.html", may_log="ERR_FILE_NOT_FOUND")
    # Not of one that nobody has pressed; the take is read ahead, before the ninth version.
    page.wait_for_function(DECODED, arg=["version-9"])
    assert page.locator("#notices .fault").count() == 0
    (gone,) = (tmp_path / "many" / "sounds").glob("version-11.*")
    gone.unlink()
    (empty,) = (tmp_path / "many" / "sounds").glob("version-10.*")
    empty.write_text("")
    for path, fault in ((gone, LACKS), (empty, "does not hold this sound")):
        page.locator(f"[data-version={path.name.split('.')[0]}]").click()
        page.get_by_text(f"This did not work: the file sounds/{path.name} {fault}.").wait_for()
    # One that lacks keeps none of the others from being ready.
    told = page.evaluate(
        """(keys) => chainsimPage.player.prepare(keys).catch((e) => e.message).then(
          (told) => [told, chainsimPage.shelf._decoded.size])""",
        ["version-11", *(f"version-{k}" for k in range(1, 10))],
    )
    assert told == [f"the file sounds/{gone.name} {LACKS}", 9]
    # What is chosen is dropped last.
    newest = "[...chainsimPage.shelf._decoded.keys()].at(-1)"
    assert page.evaluate(f"() => {newest} === chainsimPage.shelf.sound(chainsimPage.player.current).digest")
    page.locator("[data-version=version-2]").click()
    until_playing(page, "version-2")


def test_what_is_written_anew_is_taken_up_in_its_place(open_page: OpenPage, tmp_path: Path) -> None:
    folder = tmp_path / "board"
    before = synthetic_page(seconds=SECONDS, title="before")
    write_listening_folder(before, folder, watched=True)
    page = open_page(folder / "index.html", before=SOONER)
    page.get_by_text("Settings").first.click()
    page.locator("[data-version=version-2]").click()
    until_playing(page, "version-2")
    listen(page, 0.3)
    until_read(page)
    write_listening_folder(changed(before), folder, watched=True)
    page.get_by_text("Last taken up at").wait_for()
    listen(page, 0.2)
    assert player(page, "playing") is True
    assert player(page, "current") == "version-2"
    assert page.locator("h1").inner_text() == "after"
    assert page.locator("[data-version=version-2]").inner_text().split("\n")[1] == "Louder now"
    assert page.locator("[data-version=version-2]").get_attribute("aria-pressed") == "true"
    assert page.locator("#details details[open]").count() == 1
    assert page.title() == "after"
    found = places(captured(page), noise(SECONDS)[:, 0])
    assert set(found[:, 1] - found[:, 0]) == {-AHEAD_S * RATE_HZ}
    assert (found[0, 2].round(3), found[-1, 2].round(3)) == (0.5, 0.8)


def test_what_the_board_has_to_say(open_page: OpenPage, tmp_path: Path) -> None:
    """And then what was heard goes on, by its name, in a shorter take; and a set has its board."""
    before = synthetic_page(seconds=3.0)
    write_listening_folder(before, tmp_path, watched=True)
    page = open_page(tmp_path / "index.html", before=SOONER)
    page.locator("[data-version=version-2]").click()
    until_playing(page, "version-2")
    player(page, "setLoop({ from: 2.2, to: 3.0 })")
    listen(page, 0.16)
    tell_watcher(tmp_path, 'parade.toml: chain[3]: no block "<ehco>"')
    page.get_by_text('parade.toml: chain[3]: no block "<ehco>"').wait_for()
    assert page.locator(".watch-state").inner_text().startswith("Watching")
    with Watching(tmp_path):
        pass
    page.get_by_text("The watcher has ended").wait_for()
    page.get_by_text('parade.toml: chain[3]: no block "<ehco>"').wait_for()
    shorter = set_page()
    assert not page.locator("#foot").is_visible()
    until_read(page)
    write_listening_folder(with_another_first(shorter), tmp_path, watched=True)
    page.get_by_text("no block").wait_for(state="hidden")
    page.get_by_text("Last taken up at").wait_for()
    assert player(page, "current") == "version-3"
    assert player(page, "playing") is True
    assert player(page, "loop") == {"from": 2.2, "to": 2.5}
    listen(page, 0.32)
    assert player(page, "position") == pytest.approx(2.2 + (0.16 - AHEAD_S + 0.32) % 0.3)
    page.locator("[data-switch=A]").wait_for()
    alone = replace(before, sounds=before.sounds[:2], cards=before.cards[:1])
    until_read(page)
    write_listening_folder(alone, tmp_path, watched=True)
    page.locator(".watch-state", has_text="“Version 2” is gone; you hear “Version 1”.").wait_for()
    assert player(page, "current") == "version-1"
    assert not page.locator("#foot, #trials").first.is_visible()
    assert page.locator("[data-switch]").count() == 0
    page.keyboard.press("s")  # the letter of a switch that is gone
    assert player(page, "levels") == "equal"


def test_a_name_keeps_its_sound(open_page: OpenPage, tmp_path: Path) -> None:
    """What is pressed, and still decodes while the page is renewed, is followed by its name; so is the focus."""
    before = synthetic_page(seconds=3.0)
    write_listening_folder(before, tmp_path, watched=True)
    page = open_page(tmp_path / "index.html", before=SOONER)
    page.locator("[data-version=version-1]").click()
    until_playing(page, "version-1")
    listen(page, 0.16)
    until_read(page)
    page.evaluate(
        """() => {
          const { shelf } = chainsimPage;
          const decoded = shelf.decoded.bind(shelf);
          const gate = new Promise((resolve) => { window.letItDecode = resolve; });
          shelf.decoded = (key, context) =>
            shelf.sound(key).name === "Version 2" ? gate.then(() => decoded(key, context)) : decoded(key, context);
        }"""
    )
    page.locator("[data-version=version-2]").click()
    write_listening_folder(with_another_first(first_two(before)), tmp_path, watched=True)
    page.get_by_text("Last taken up at").wait_for()
    assert page.evaluate("() => document.activeElement.dataset.version") == "version-3"
    assert (player(page, "current"), player(page, "asked")) == ("version-2", "version-3")
    page.evaluate("() => letItDecode()")
    page.wait_for_function("() => chainsimPage.player.current === 'version-3'")
    # The peak of the second version, whose gain is 0.5; that of the first, and of what is new, is higher.
    peak = player(page, "_handover._voice.buffer.getChannelData(0).reduce((a, b) => Math.max(a, Math.abs(b)), 0)")
    assert peak == pytest.approx(0.5 * np.max(np.abs(noise(3.0))), abs=1e-4)


def test_what_is_renewed_has_its_level_and_its_folds(open_page: OpenPage, tmp_path: Path) -> None:
    """Also when the next save is faulty before the page has asked."""
    before = synthetic_page(seconds=3.0)
    write_listening_folder(before, tmp_path, watched=True)
    page = open_page(tmp_path / "index.html", before=SOONER)
    page.locator("[data-version=version-1]").click()
    until_playing(page, "version-1")
    listen(page, 0.16)
    player(page, "setLevels('as it comes')")
    page.get_by_text("Settings").first.click()
    sounds = tuple(replace(s, as_it_comes_db=s.as_it_comes_db - 12.0) for s in before.sounds)
    quieter = replace(before, sounds=sounds, title="quieter", cards=before.cards[::-1])
    write_listening_folder(quieter, tmp_path, watched=True)
    tell_watcher(tmp_path, "a faulty save")
    page.get_by_text("Last taken up at").wait_for()
    page.get_by_text("a faulty save").wait_for()
    assert page.title() == "quieter"
    listen(page, 0.04)
    assert player(page, "_handover._voice._level.gain.value") == pytest.approx(10 ** (-12 / 20), abs=1e-6)
    opened = page.locator("#details article", has=page.locator("details[open]"))
    assert opened.locator("h3").inner_text().endswith("Version 1")


def test_a_page_that_was_damaged_is_asked_for_again(open_page: OpenPage, tmp_path: Path) -> None:
    before = synthetic_page(seconds=SECONDS, title="before")
    write_listening_folder(before, tmp_path, watched=True)
    page = open_page(tmp_path / "index.html", before=SOONER)
    until_read(page)
    whole = tmp_path / "page.js"
    for damage in ("", 'chainsimWhole("<p>nothing</p>");'):
        whole.write_text(damage)
        with page.expect_event("requestfinished", lambda request: "page.js" in request.url):
            tell_open_page(tmp_path, {"stamp": f"damaged {len(damage)}"})
    write_listening_folder(changed(before), tmp_path, watched=True)
    page.get_by_text("Last taken up at").wait_for()
    assert page.title() == "after"
    assert page.locator("#notices .fault").count() == 0


def first_two(page: ListeningPage) -> ListeningPage:
    return replace(page, sounds=page.sounds[:3], cards=page.cards[:2])


def with_another_first(page: ListeningPage) -> ListeningPage:
    """The same page, whose first version is new, so that the keys of the others move on."""
    take, *others = page.sounds
    moved = {"version-1": "version-2", "version-2": "version-3"}
    sounds = [replace(sound, key=moved.get(sound.key, sound.key)) for sound in others]
    cards = [replace(card, sound=moved[card.sound]) for card in page.cards]
    new = page_sound("version-1", 0.7 * noise(take.frames / page.sample_rate_hz), name="New")
    return replace(page, sounds=(take, new, *sounds), cards=(replace(cards[0], sound=new.key, heading="New"), *cards))


def changed(page: ListeningPage) -> ListeningPage:
    """The same page with another title, and another second version."""

    def louder(sound: Any) -> Any:
        return page_sound(sound.key, 0.8 * noise(SECONDS), name="Louder now")

    sounds = tuple(louder(sound) if sound.key == "version-2" else sound for sound in page.sounds)
    cards = tuple(replace(c, heading="Louder now") if c.sound == "version-2" else c for c in page.cards)
    return replace(page, title="after", sounds=sounds, cards=cards)
