"""The audio clock of a page stands still, but for `listen`: so where in a sound a page is, is known to the frame."""

from __future__ import annotations

from pathlib import Path
from typing import Any

STILL_CLOCK = (Path(__file__).parent / "still_clock.js").read_text(encoding="utf-8")
"""A script before those of the page; its clock ends after six seconds."""

AHEAD_S = 0.06
"""How long after an order a sound begins (`handover.js`)."""


def listen(page: Any, seconds: float) -> None:
    """Let the clock go on for so long, and to the next multiple of 128 frames.

    Multiples of 8 ms are multiples of 128 frames at 48 kHz: the clock goes on for exactly so long.
    """
    page.evaluate("(s) => chainsimPage.player.context.advance(s)", seconds)


def until_chosen(page: Any) -> None:
    """Wait until the page has decoded its first sound: before that it knows no place to go to."""
    page.wait_for_function("() => chainsimPage.player.current !== null")


def until_playing(page: Any, key: str | None = None) -> None:
    """Wait until the page has given the order to play what was pressed, or this sound; its time has not come yet."""
    page.wait_for_function(
        """(key) => {
          const { playing, current } = chainsimPage.player;
          return playing && (key === null || key === current);
        }""",
        arg=key,
    )


def until_ended(page: Any) -> None:
    """Wait until the page has taken notice that what it played is at its end, or was stopped."""
    page.wait_for_function("() => !chainsimPage.player.playing")
