"""The page of a small set to press with the foot, and what a test does with its board."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.batch.listening.excerpt import Excerpt
from chainsim.batch.listening.foot_sounds import FootAtKeys
from chainsim.batch.listening.foot_states import reached
from chainsim.listen.page.model import ListeningPage
from chainsim.listen.page.writing import listening_page
from chainsim.sketch.loading import parse_sketch
from tests.browser.capture import captured
from tests.browser.synthetic import RATE_HZ, noise, page_sound, synthetic_page

SET = """
title = "Lamps, <b>quay</b>"
chain = ["house", "trim", "echo"]
tempo_bpm = 120

[blocks.house]
type = "gain"
switching = "always_on"

[blocks.trim]
type = "gain"
engaged = false
gain_db = -12

[blocks.echo]
type = "gain"
engaged = false
switching = "free_standing"
gain_db = -3

[patches.lanterns]
engage = []

[patches."<b>tide</b>, low"]
engage = ["trim"]

[[banks]]
name = "Dusk"
patches = ["lanterns", "<b>tide</b>, low"]

[[banks]]
name = "Night"
patches = ["<b>tide</b>, low"]

[[switches]]
name = "A"
press = "place 1"
hold = "dry"

[[switches]]
name = 'B, "low"'
press = "place 2"

[[switches]]
name = "E"
press = "block echo"
hold = "mute"

[[switches]]
name = "UP"
press = "bank up"
lamp = "none"

[foot]
hold_ms = 200
release_ms = 60
same_switch_ms = 150
other_switch_ms = 300
"""
CUES = '[[cues]]\nat_s = 0.5\npatch = "<b>tide</b>, low"\n[[cues]]\nat_s = 1.0\non = "echo"\n'
SECONDS = 2.5
KEYS = {"A": "s", "B": "d", "E": "g", "UP": "h"}
SOUNDS = "key => chainsimPage.player.current === key"
DECODES_LATE = """(() => {
  const gate = new Promise((resolve) => { window.letItDecode = resolve; });
  const plain = BaseAudioContext.prototype.decodeAudioData;
  BaseAudioContext.prototype.decodeAudioData = async function (bytes) {
    await gate;
    return plain.call(this, bytes);
  };
})()"""
LEVELS = "() => chainsimPage.player.levels"
PRESSES = "() => chainsimPage.foot.list.presses"


@cache
def set_page(cues: str = "", excerpt: Excerpt | None = None) -> ListeningPage:
    """Two seconds and a half of noise, and for each sound of the set above the same noise, each less loud."""
    dry = noise(SECONDS)
    sketch = parse_sketch(SET + cues)
    positions, _ = reached(sketch.board, 20)
    keys = tuple((position, f"foot-{number}") for number, position in enumerate(positions, start=1))
    foot = FootAtKeys(sketch, (), keys, excerpt=excerpt)
    sounds = [page_sound(key, dry * 0.9**i, name=p.text, role="part") for i, (p, key) in enumerate(keys)]
    page = synthetic_page((1.0, 0.5), seconds=SECONDS)
    return replace(
        page,
        title="Quay",
        sounds=(*page.sounds, *sounds),
        foot=foot.plain(),
        starts_s=excerpt.from_s if excerpt else 0.0,
    )


@cache
def set_document(cues: str = "") -> str:
    return listening_page(set_page(cues))


def hear_key(text: str) -> str:
    """Key of the sound of a position, by its text."""
    return next(s.key for s in set_page().sounds if s.name == text)


def press_briefly(page: Any, switch: str) -> None:
    """Down and up at once: on a busy machine the browser may be told so late of a key's release that it was a hold."""
    page.evaluate(
        """(key) => {
          for (const type of ["keydown", "keyup"]) {
            document.activeElement.dispatchEvent(new KeyboardEvent(type, { key, bubbles: true, cancelable: true }));
          }
        }""",
        KEYS[switch],
    )


def loudest(page: Any, *parts: tuple[float, float]) -> list[float]:
    """The highest sample of what has left the page in each part, from one time of its clock to another."""
    heard = np.abs(captured(page))
    return [float(np.max(heard[round(from_s * RATE_HZ) : round(to_s * RATE_HZ)])) for from_s, to_s in parts]


def shown(page: Any) -> str:
    return str(page.locator(".foot-sound").text_content())


def rows(page: Any, label: str) -> list[list[str]]:
    table = page.get_by_role("region", name=label).locator("tbody tr").all()
    return [[cell.text_content() for cell in row.locator("th, td").all()] for row in table]


def saved(page: Any, folder: Path) -> tuple[Path, str]:
    """The file that the page offers, beside a sketch."""
    with page.expect_download() as offered:
        page.get_by_role("button", name="Save as cues").click()
    name = offered.value.suggested_filename
    offered.value.save_as(folder / name)
    return folder / name, name
