"""Pages in a browser: opened from disk, watched for errors and for anything they might fetch."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.audio_clock import STILL_CLOCK
from tests.browser.tabs import Tab, Tabs

OpenPage = Callable[..., Any]
SETTLED_MS = 100
"""After that much of its own time a page no longer looks whether all of it is there (`shelf.js`)."""


def missing(what: str) -> None:
    """Skip; but where the project's CI runs, what lacks is a fault."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="session")
def tabs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tabs]:
    """Chromium, started once."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright")
    path = next((p for name in ("chromium", "chromium-browser") if (p := shutil.which(name))), None)
    if path is None:
        missing("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        yield Tabs(browser, tmp_path_factory.mktemp("browser"))
        browser.close()


@pytest.fixture
def open_page(tabs: Tabs, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[OpenPage]:
    """Opens a document (text, or the path of one) from disk, and gives the page of the browser.

    At its end the test fails if a page wrote an error to its console, threw one, or asked for anything that is not in
    the folder it lies in. `width` is the window's, in CSS pixels; `before` is a script that runs before those of the
    page; errors in the console that hold `may_log` are what the test is about; without `policy` the test may bring
    scripts of its own into the page.

    The page's audio clock stands still but for `audio_clock.listen`. Only in `real_time` it goes on by itself, in a tab
    where nothing was ever pressed; then nothing may be asserted that a busy machine could change. With `still_timers`
    the page's timers, its time of day and the pictures of its screen wait as well, for `page.clock.run_for`.
    """
    taken: list[tuple[Tab, bool]] = []
    failed_before = request.session.testsfailed

    def open_one(
        document: str | Path,
        *,
        width: int = 1200,
        height: int = 900,
        dark: bool = False,
        reduced_motion: bool = False,
        touch: bool = False,
        before: str = "",
        may_log: str | None = None,
        policy: bool = True,
        real_time: bool = False,
        still_timers: bool = False,
    ) -> Any:
        path = document if isinstance(document, Path) else tmp_path / f"page_{len(taken)}.html"
        if not isinstance(document, Path):
            path.write_text(document, encoding="utf-8")
        of_its_own = real_time or still_timers
        tab = tabs.take(touch=touch, policy=policy, fresh=of_its_own)
        taken.append((tab, of_its_own))
        tab.prepare(
            width=width,
            height=height,
            dark=dark,
            reduced_motion=reduced_motion,
            scripts=[before] if real_time else [STILL_CLOCK, before],
            may_log=may_log,
        )
        if still_timers:
            tab.page.clock.install(time=0)
            tab.page.clock.pause_at(3600)  # seconds: later than it can have become in between
        tab.open(path.resolve())
        if still_timers:
            tab.page.clock.run_for(SETTLED_MS)
        return tab.page

    yield open_one
    failed = request.session.testsfailed > failed_before
    for tab, of_its_own in taken:
        if failed or of_its_own:
            tab.close()
        else:
            tabs.give_back(tab)
    faults = [fault for tab, _ in taken for fault in tab.faults]
    assert not faults, "\n".join(faults)


@pytest.fixture
def axe() -> Callable[[Any], list[dict[str, Any]]]:
    """Runs axe-core in a page, and gives what it objects to."""
    path = Path(os.environ.get("AXE_CORE", "node_modules/axe-core/axe.min.js"))
    if not path.is_file():
        missing(f"axe-core ({path})")
    source = path.read_text(encoding="utf-8")

    def run(page: Any) -> list[dict[str, Any]]:
        page.evaluate(source)
        violations: list[dict[str, Any]] = page.evaluate("() => axe.run().then((found) => found.violations)")
        return violations

    return run
