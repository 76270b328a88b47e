"""Pages that stand beside the board and take up what is written anew."""

from __future__ import annotations

from typing import Any

SOONER = "(() => { const plain = setInterval; setInterval = (act, ms) => plain(act, ms === 1000 ? 50 : ms); })()"
"""A script before those of the page: it asks twenty times a second, not once."""


def until_read(page: Any) -> None:
    """Wait until the page has read ahead all it will, before the folder is written anew, where old sounds are gone."""
    page.wait_for_function(
        """() => {
          const { shelf } = chainsimPage;
          const keys = [...shelf.keys("take"), ...shelf.keys("version")];
          return keys.every((key) => shelf._sizes.has(shelf.sound(key).digest));
        }"""
    )
