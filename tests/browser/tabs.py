"""Tabs of a browser, which show one page after the other: to open a new one takes longer than most tests."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

ALLOWED = ("blob:", "data:")
BLANK = """<!DOCTYPE html><html lang="en"><title>blank</title>
<script>localStorage.clear(); sessionStorage.clear();</script></html>"""
PATIENCE_MS = 60_000
"""Only against what never ends: a busy machine may take long."""


class Tab:
    """A tab with a browser context of its own, watched for faults of its pages.

    Parameters
    ----------
    browser : playwright.sync_api.Browser
    blank : Path
        A document with nothing to be seen, which forgets what others have stored; shown while no test has the tab.
    touch : bool
        Whether it is pressed by fingers.
    policy : bool
        Whether pages keep to their own content security policy.
    """

    def __init__(self, browser: Any, blank: Path, *, touch: bool = False, policy: bool = True) -> None:
        self.touch, self.policy = touch, policy
        self.faults: list[str] = []
        """Of the page that is open: errors in its console, or thrown, and what it asked for outside its folder."""
        self._blank = blank.as_uri()
        self._folder = self._blank
        self._may_log: str | None = None
        self._scripts: list[str] = []
        self._context = browser.new_context(has_touch=touch, bypass_csp=not policy)
        self.page = self._context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.faults.append(f"error: {error}"))
        self.page.on("request", self._look)
        self._devtools = self._context.new_cdp_session(self.page)
        self._devtools.send("Page.enable")

    def prepare(
        self, *, width: int, height: int, dark: bool, reduced_motion: bool, scripts: Sequence[str], may_log: str | None
    ) -> None:
        """Before a page is opened: a window of so many CSS pixels, and what runs before the page's own scripts."""
        self._may_log = may_log
        self.page.set_viewport_size({"width": width, "height": height})
        self.page.emulate_media(
            media="null",
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce" if reduced_motion else "no-preference",
        )
        for script in scripts:
            added = self._devtools.send("Page.addScriptToEvaluateOnNewDocument", {"source": script})
            self._scripts.append(added["identifier"])

    def open(self, path: Path) -> None:
        """Show a page."""
        self.faults = []
        self._folder = f"{path.parent.as_uri()}/"
        self.page.goto(path.as_uri())

    def leave(self) -> None:
        """Show nothing, and forget what the page has stored and how it was prepared."""
        for identifier in self._scripts:
            self._devtools.send("Page.removeScriptToEvaluateOnNewDocument", {"identifier": identifier})
        self._scripts.clear()
        self.page.goto(self._blank, wait_until="domcontentloaded")
        self.page.mouse.move(0, 0)

    def close(self) -> None:
        """Be there no longer."""
        self._context.close()

    def _hear(self, message: Any) -> None:
        if message.type == "error" and (self._may_log is None or self._may_log not in message.text):
            self.faults.append(f"console: {message.text}")

    def _look(self, request: Any) -> None:
        if not request.url.startswith((self._folder, self._blank, *ALLOWED)):
            self.faults.append(f"request: {request.url}")


class Tabs:
    """The tabs that no test has at the moment.

    Parameters
    ----------
    browser : playwright.sync_api.Browser
    folder : Path
        Where a blank document may lie.
    """

    def __init__(self, browser: Any, folder: Path) -> None:
        self._browser = browser
        self._blank = folder / "blank.html"
        self._blank.write_text(BLANK, encoding="utf-8")
        self._idle: list[Tab] = []

    def take(self, *, touch: bool, policy: bool, fresh: bool) -> Tab:
        """A tab, which nobody has had before if it is to be fresh."""
        for tab in () if fresh else self._idle:
            if (tab.touch, tab.policy) == (touch, policy):
                self._idle.remove(tab)
                return tab
        return Tab(self._browser, self._blank, touch=touch, policy=policy)

    def give_back(self, tab: Tab) -> None:
        """Another test may have it."""
        tab.leave()
        self._idle.append(tab)
