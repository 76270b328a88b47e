"""The listening page plays, switches in time, loops, and says what it shows.

Sounds are white noise, so where a heard sample comes from is known to the sample: see `capture.places`.
"""

from __future__ import annotations

import time
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from chainsim.listen.page.model import ListeningPage
from chainsim.listen.page.writing import listening_page
from chainsim.units import Array
from tests.benchmarks import bench
from tests.browser.audio_clock import AHEAD_S, listen, until_chosen, until_ended, until_playing
from tests.browser.capture import begin_capture, captured, places, wait
from tests.browser.conftest import OpenPage
from tests.browser.synthetic import RATE_HZ, noise, page_sound, synthetic_page, with_drawing

FADE_FRAMES = round(0.010 * RATE_HZ)
LEADS = """async (keys) => {
  const { player } = chainsimPage;
  const { context } = player;
  const { get } = Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, "currentTime");
  let repaints = 0;
  Object.defineProperty(context, "currentTime", { get: () => get.call(context) + 0.2 * repaints });
  player.addEventListener("sound", () => { repaints += 1; });
  let starts;
  const start = AudioBufferSourceNode.prototype.start;
  AudioBufferSourceNode.prototype.start = function (when, ...others) {
    starts.push(when);
    return start.call(this, when, ...others);
  };
  const leads = [];
  for (const key of keys) {
    player.pause();
    starts = [];
    const asked = context.currentTime;
    await player.play(key);
    leads.push(...starts.map((at) => at - asked));
  }
  return leads;
}"""
"""How long after an order its sound begins, where the clock goes on by 0.2 s while the page is repainted."""

SOUNDS_AT = "(s) => chainsimPage.player.position > s"
"""In real time; at its end a sound is still there."""

WIRE = """<svg class="drawing" width="300" height="80" role="group" aria-label="the way">
<g class="wire" data-sound="wire-1" role="button" tabindex="0" aria-label="hear gain">
<path class="hit" d="M10 40H290" stroke="currentColor" stroke-opacity="0" stroke-width="18"/>
<path class="line" d="M10 40H290" stroke="currentColor"/></g></svg>"""


@cache
def plain_page() -> str:
    """A take and three versions of it, of two seconds."""
    return listening_page(synthetic_page())


def player(page: Any, what: str) -> Any:
    """A property of the page's player, or what comes of a call."""
    return page.evaluate(f"() => chainsimPage.player.{what}")


def test_switching_keeps_the_place_to_the_sample(open_page: OpenPage) -> None:
    page = open_page(plain_page())
    player(page, "play('version-1')")
    listen(page, 0.3)
    for key in ("version-2", "version-3", "version-1"):
        player(page, f"choose('{key}')")
        listen(page, 0.2)
    heard = captured(page)
    known = noise(2.0)[:, 0]
    found = places(heard, known)
    lag = found[:, 1] - found[:, 0]
    assert set(lag) == {-AHEAD_S * RATE_HZ}
    gains = [g for g in found[:, 2].round(3) if g in (1.0, 0.5, 0.25)]
    assert [g for g, before in zip(gains, [0.0, *gains], strict=False) if g != before] == [1.0, 0.5, 0.25, 1.0]
    # Nothing is left out and nothing sounds twice: every 2 ms are the known sound, times a gain that goes from that of
    # one version to that of the next within the fade.
    first, last = int(found[0, 0]), int(found[-1, 0])
    shift = int(lag[0])
    gain = gains_of(heard[first:last], known[first + shift : last + shift], 96)
    assert gain.min() > 0.249
    assert gain.max() < 1.001
    between = np.min(np.abs(gain[:, None] - [1.0, 0.5, 0.25]), axis=1) > 1e-3
    assert between.sum() <= 3 * (FADE_FRAMES // 96 + 1)


def gains_of(heard: Array, known: Array, frames: int) -> Array:
    """Of each so many frames, the gain with which the known sound is in them."""
    x, y = (s[: len(s) // frames * frames].reshape(-1, frames) for s in (heard, known))
    return (x * y).sum(axis=1) / (y * y).sum(axis=1)


def test_a_loop_is_as_long_as_it_says(open_page: OpenPage) -> None:
    page = open_page(plain_page())
    player(page, "play('version-1')")
    player(page, "setLoop({ from: 0.5, to: 0.75 })")
    listen(page, 0.904)
    assert player(page, "position") == pytest.approx(0.5 + (0.904 - AHEAD_S) % 0.25)
    page.get_by_role("button", name="Stop repeating").click()
    listen(page, 0.504)
    assert player(page, "position") == pytest.approx(0.5 + (0.904 - AHEAD_S) % 0.25 + 0.504)
    found = places(captured(page), noise(2.0)[:, 0])
    inside = found[(found[:, 1] >= 0.5 * RATE_HZ) & (found[:, 1] + 1024 <= 0.75 * RATE_HZ)]
    jumps = np.diff(inside[:, 1] - inside[:, 0])
    assert set(jumps[jumps != 0]) == {-0.25 * RATE_HZ}


def test_as_loud_as_it_comes(open_page: OpenPage) -> None:
    page = open_page(listening_page(synthetic_page((1.0, 1.0, 1.0))))
    caution = page.get_by_text("Start low, then raise slowly")
    assert not caution.is_visible()
    player(page, "play('version-3')")
    listen(page, 0.2)
    page.get_by_label("As loud as it comes").check()
    assert caution.is_visible()
    listen(page, 0.2)
    quiet_frames = round(player(page, "context.currentTime") * RATE_HZ)
    page.get_by_label("All equally loud").check()
    assert caution.is_visible()
    listen(page, 0.2)
    heard, known = captured(page), noise(2.0)[:, 0]
    gains = places(heard[:quiet_frames], known)[:, 2]
    # The synthetic page's third version comes 12 dB quieter.
    assert gains[0] == pytest.approx(1.0, abs=1e-4)
    assert gains[-1] == pytest.approx(10 ** (-12 / 20), abs=1e-4)
    # Back to one loudness is 12 dB up: within a second, not at once.
    gains = places(heard, known, 512)[:, 2]
    assert gains[-1] > 10 ** (-11.5 / 20)
    assert np.max(gains[1:] / gains[:-1]) < 1.1


def test_a_button_plays_its_version_and_stops_it(open_page: OpenPage) -> None:
    page = open_page(plain_page())
    second = page.get_by_role("button", name="Version 2")
    second.click()
    until_playing(page, "version-2")
    assert second.get_attribute("aria-pressed") == "true"
    assert page.locator(".transport-name").inner_text() == "Version 2"
    assert page.get_by_role("button", name="Version 1").get_attribute("aria-pressed") == "false"
    listen(page, 0.48)
    # White noise within -0.25 ... 0.25 has a mean level of 20 log10(0.25 / sqrt(3)) = -16.8 dB, its peak -12.0 dB.
    page.wait_for_function(
        "() => document.querySelector('.meter-words').textContent === '\\u221216.8 mean, \\u221212.0 highest'"
    )
    second.click()
    assert player(page, "playing") is False
    listen(page, 0.08)
    assert player(page, "position") == pytest.approx(0.48 - AHEAD_S)
    heard = captured(page)
    assert np.any(heard[: round(0.48 * RATE_HZ)])
    assert not np.any(heard[round(0.48 * RATE_HZ) + FADE_FRAMES :])


def test_what_ends_begins_anew(open_page: OpenPage) -> None:
    page = open_page(listening_page(synthetic_page(seconds=0.4)))
    page.get_by_role("button", name="Play").click()
    until_playing(page)
    listen(page, 0.48)
    until_ended(page)
    assert player(page, "position") == 0.4
    page.get_by_role("button", name="Play").click()
    until_playing(page)
    assert player(page, "position") == 0.0
    listen(page, 0.08)
    assert player(page, "position") == pytest.approx(0.08 - AHEAD_S)


def test_pointer_on_the_pictures(open_page: OpenPage) -> None:
    page = open_page(plain_page())
    until_chosen(page)
    box = page.locator(".lanes").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 30)
    assert player(page, "position") == pytest.approx(1.0, abs=0.01)
    page.mouse.move(box["x"] + box["width"] * 0.25, box["y"] + 30)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.75, box["y"] + 30, steps=3)
    page.mouse.up()
    loop = player(page, "loop")
    assert (loop["from"], loop["to"]) == (pytest.approx(0.5, abs=0.01), pytest.approx(1.5, abs=0.01))
    assert page.get_by_text("Repeats 0:00.5 to 0:01.5.", exact=True).first.is_visible()


def test_a_wire_plays_what_runs_through_it(open_page: OpenPage) -> None:
    wire = page_sound("wire-1", 0.8 * noise(2.0), name="behind gain", role="wire")
    page = open_page(listening_page(with_drawing(synthetic_page(), WIRE, [wire])))
    page.get_by_text("The way of the sound").click()
    drawn = page.get_by_role("button", name="hear gain")
    drawn.locator(".hit").click(force=True)
    until_playing(page, "wire-1")
    assert drawn.get_attribute("aria-pressed") == "true"
    assert page.locator(".transport-name").inner_text() == "behind gain"
    drawn.press("Enter")
    assert player(page, "playing") is False


def test_a_browser_that_wants_a_press_first(open_page: OpenPage) -> None:
    # Chromium lets a page sound once it was pressed; what a page does by itself, as here, it keeps silent. That is seen
    # in real time alone: the clock that stands still is never asleep.
    page = open_page(plain_page(), before="addEventListener('load', () => chainsimPage.player.play())", real_time=True)
    button = page.get_by_role("button", name="Let it sound")
    button.wait_for()
    assert page.get_by_text("keeps this page silent until you press something").is_visible()
    button.click()
    page.wait_for_function(SOUNDS_AT, arg=0.05)
    assert button.count() == 0


def test_a_browser_without_audio_in_time(open_page: OpenPage) -> None:
    page = open_page(plain_page(), before="AudioContext = class { constructor() { throw new Error(); } }")
    assert page.get_by_text("cannot go from one sound to another in time").is_visible()
    page.wait_for_function("() => [...document.querySelectorAll('audio')].every((a) => a.src.startsWith('blob:'))")
    assert page.locator("audio").count() == 4
    assert not page.locator("#timeline, #trials").first.is_visible()
    # The browser's own players have no other time than the real one: what plays is not to end before it is asked for.
    page.evaluate("() => document.querySelectorAll('audio').forEach((audio) => { audio.loop = true; })")
    plays = "() => [...document.querySelectorAll('audio')].filter((a) => !a.paused).map((a) => a.ariaLabel).join()"
    for name in ("Version 1", "Version 2"):
        page.get_by_role("button", name=name).click()
        page.wait_for_function(f"(name) => ({plays})() === name", arg=name)


def test_hidden_while_judging(open_page: OpenPage) -> None:
    page = open_page(plain_page())
    page.get_by_role("button", name="Version 2").click()
    until_playing(page, "version-2")
    listen(page, 0.08)
    page.evaluate("() => { chainsimPage.player.hidden = true; }")
    assert page.locator("#versions [aria-pressed=true]").count() == 0
    assert page.locator(".transport-name").inner_text() == "What sounds is hidden"
    assert page.get_by_text("Hidden while you judge by ear").is_visible()
    assert not page.locator(".meter").is_visible()
    labels = page.locator(".lane-canvas:not(.lane-times)").evaluate_all("(all) => all.map((x) => x.ariaLabel).join()")
    assert "Version" not in labels
    page.keyboard.press("1")
    assert (player(page, "asked"), player(page, "current")) == (None, "version-2")
    # Nothing tells by its delay whether it is the sound that was heard before, however slow the page repaints.
    leads = page.evaluate(LEADS, ["version-1", "version-1"])
    assert leads == pytest.approx([0.15, 0.15], abs=1.1 / RATE_HZ)
    # Keys and buttons of the page stop it, but begin nothing that no letter stands for.
    for _ in range(2):
        page.keyboard.press("Space")
        assert player(page, "playing") is False
    assert page.get_by_role("button", name="Play", exact=True).is_disabled()


def test_what_is_stopped_before_it_begins_is_silent(open_page: OpenPage) -> None:
    """Also what is replaced before: hidden sounds begin 150 ms after the order."""
    page = open_page(plain_page())
    page.evaluate("() => { chainsimPage.player.hidden = true; }")
    page.evaluate("async () => { await chainsimPage.player.play('version-1'); chainsimPage.player.pause(); }")
    listen(page, 0.4)
    silent_frames = round(player(page, "context.currentTime") * RATE_HZ)
    in_haste = "const { player } = chainsimPage; await player.play('version-1'); await player.choose('version-3');"
    page.evaluate(f"async () => {{ {in_haste} }}")
    listen(page, 0.4)
    heard = captured(page)
    known = noise(2.0)[:, 0]
    assert not np.any(heard[:silent_frames])
    assert set(places(heard, known)[:, 2].round(3)) == {0.25}
    assert np.max(np.abs(heard)) <= 0.25 * np.max(np.abs(known)) + 1e-4


def test_names_stay_text(open_page: OpenPage) -> None:
    evil = "<script>alert(1)</script>\"'&</script><!--<img src=x onerror=alert(2)>"
    plain = synthetic_page(title=evil)
    sounds = tuple(replace(s, name=evil) for s in plain.sounds)
    cards = tuple(replace(c, heading=evil, differs=evil, settings=evil, warnings=(evil,)) for c in plain.cards)
    page = open_page(
        listening_page(replace(plain, take_name=evil, sounds=sounds, cards=cards, notes=(evil,))),
        before="window.alert = () => { window.alerted = true; }",
    )
    page.locator("[data-version=version-2]").click()
    until_playing(page, "version-2")
    assert page.title() == evil
    assert page.locator("h1").inner_text() == evil
    assert page.locator(".transport-name").inner_text() == evil
    assert page.locator("img").count() == 0
    assert page.evaluate("() => window.alerted") is None


def test_nothing_is_wider_than_the_screen(open_page: OpenPage) -> None:
    long = "a name without any gap ".replace(" ", "_") * 4
    plain = synthetic_page(title=long, seconds=0.2)
    cards = tuple(replace(card, heading=long, differs=long) for card in plain.cards)
    page = open_page(listening_page(replace(plain, cards=cards)), height=640)
    for width in (1200, 600, 320):
        page.set_viewport_size({"width": width, "height": 640})
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width


@pytest.mark.bench
def test_switching_in_real_time(open_page: OpenPage) -> None:
    """Both are heard; what errors of position a machine brings in, which may be late with an order, is printed.

    That there are none but these is tested where the clock stands still.
    """
    page = open_page(plain_page(), policy=False, real_time=True)
    player(page, "prepare(chainsimPage.shelf.keys())")
    player(page, "choose('version-1')")
    player(page, "setLoop({ from: 0, to: 2 })")
    begin_capture(page)
    player(page, "play()")
    for key in ("version-2", "version-1") * 6:
        wait(page, 0.13)
        player(page, f"choose('{key}')")
    wait(page, 0.13)
    found = places(captured(page), noise(2.0)[:, 0])
    lag = (found[:, 1] - found[:, 0]) % (2 * RATE_HZ)  # round the loop
    gains = found[:, 2].round(2)
    kept = [np.median(lag[i]) for i in np.split(np.arange(len(lag)), np.nonzero(np.diff(gains))[0] + 1)]
    off_ms = 1000 * np.abs(np.diff(kept)) / RATE_HZ
    print(f"\nerrors of position over {len(off_ms)} switches: {', '.join(f'{ms:.2f}' for ms in off_ms)} ms")
    assert set(gains) == {0.5, 1.0}


@pytest.mark.bench
def test_from_opening_to_sound(open_page: OpenPage) -> None:
    """In real time, which is what is printed."""
    opened = listening_page(eight_versions(20.0 if bench.THOROUGH else 2.0))
    began = time.perf_counter()
    page = open_page(opened, real_time=True)
    page.locator("[data-version=version-1]").click()
    page.wait_for_function(SOUNDS_AT, arg=0.0)
    print(f"\n{len(opened) / 1e6:.0f} MB: {time.perf_counter() - began:.2f} s from opening to sound")


def eight_versions(seconds: float) -> ListeningPage:
    """Stereo noise: what compresses least."""
    return synthetic_page([0.9**k for k in range(8)], seconds=seconds, channels=2)
