"""Pages in a browser: opened from disk, watched for errors and for anything they might fetch."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

ALLOWED = ("blob:", "data:")

OpenPage = Callable[..., Any]


def missing(what: str) -> None:
    """Skip; but where the project's CI runs, what lacks is a fault."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing")


@pytest.fixture(scope="session")
def launch() -> Iterator[Callable[..., Any]]:
    """Starts Chromium, with flags of its own; every browser that was started ends with the session."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright")
    path = next((p for name in ("chromium", "chromium-browser") if (p := shutil.which(name))), None)
    if path is None:
        missing("chromium")
    with sync_playwright() as playwright:
        started: dict[tuple[str, ...], Any] = {}

        def start(*flags: str) -> Any:
            if flags not in started:
                args = ["--no-sandbox", "--disable-gpu", "--mute-audio", *flags]
                started[flags] = playwright.chromium.launch(executable_path=path, args=args)
            return started[flags]

        yield start
        for browser in started.values():
            browser.close()


@pytest.fixture
def open_page(launch: Callable[..., Any], tmp_path: Path) -> Iterator[OpenPage]:
    """Opens a document (text, or the path of one) from disk, and gives the page of the browser.

    At its end the test fails if a page wrote an error to its console, threw one, or asked for anything that is not in
    the folder it lies in. `width` is the window's, in CSS pixels; `flags` are Chromium's; `before` is a script that
    runs before those of the page; errors in the console that hold `may_log` are what the test is about; without
    `policy` the test may bring scripts of its own into the page.
    """
    contexts: list[Any] = []
    faults: list[str] = []

    def open_one(
        document: str | Path,
        *,
        width: int = 1200,
        height: int = 900,
        dark: bool = False,
        reduced_motion: bool = False,
        touch: bool = False,
        flags: tuple[str, ...] = (),
        before: str | None = None,
        may_log: str | None = None,
        policy: bool = True,
    ) -> Any:
        path = document if isinstance(document, Path) else tmp_path / f"page_{len(contexts)}.html"
        if not isinstance(document, Path):
            path.write_text(document, encoding="utf-8")
        context = launch(*flags).new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce" if reduced_motion else "no-preference",
            has_touch=touch,
            bypass_csp=not policy,
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        folder = f"{path.resolve().parent.as_uri()}/"
        page.on(
            "console",
            lambda m: (
                faults.append(f"console: {m.text}")
                if m.type == "error" and (may_log is None or may_log not in m.text)
                else None
            ),
        )
        page.on("pageerror", lambda error: faults.append(f"error: {error}"))
        page.on(
            "request",
            lambda r: None if r.url.startswith((folder, *ALLOWED)) else faults.append(f"request: {r.url}"),
        )
        if before is not None:
            page.add_init_script(before)
        page.goto(path.resolve().as_uri())
        return page

    yield open_one
    for context in contexts:
        context.close()
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
