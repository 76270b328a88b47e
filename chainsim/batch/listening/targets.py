"""Where a page and a reel may go: nothing that something else has made is written over, and this is said beforehand."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from chainsim.audio.whole import writing
from chainsim.audio.writing import TakeWriter
from chainsim.errors import AudioError
from chainsim.listen.page.watcher import NOW
from chainsim.listen.page.writing import INDEX, SOUNDS, WHOLE

BEEPS = "Before each version beeps tell its number: a short one counts one, a long one five."
"""Stands in every running order."""
PDF = "; for a PDF write .html and print it from a browser"
PAGE_DATA = b'id="page-data"'
"""Stands in every page."""


def is_one_file(path: str | Path) -> bool:
    """Whether a page goes to one file there."""
    return Path(path).suffix.lower() in (".html", ".htm")


def check_page_target(path: Path) -> None:
    """Refuse a folder that holds other things than a page, and a new one called like a file.

    Raises
    ------
    AudioError
        If it does or is, or is a file.
    """
    if is_one_file(path):
        return
    if not path.exists():
        if path.suffix:
            raise AudioError(
                f'{path}: cannot write "{path.suffix}" files, allowed .html | .htm, or a folder without an ending'
                f"{PDF if path.suffix.lower() == '.pdf' else ''}"
            )
        return
    if not path.is_dir():
        raise AudioError(f"{path}: is a file; name a folder for the page, or a file that ends with .html")
    index = path / INDEX
    if _holds(index, PAGE_DATA):
        return
    with writing(path):
        names = sorted(entry.name for entry in path.iterdir())
    others = [name for name in names if name not in (SOUNDS, WHOLE, NOW) and not name.startswith(".")]
    if others:
        held = INDEX if index.exists() else others[0]
        raise AudioError(f"{path}: holds {held}, which is no page of chainsim compare; name a new or an empty folder")


def check_reel_target(path: Path) -> None:
    """Refuse a reel that cannot be written, or whose running order would replace another text.

    Raises
    ------
    AudioError
        If it is so.
    """
    TakeWriter(path, 48_000, 2)
    text = running_order_path(path)
    if text.exists() and not _holds(text, BEEPS.encode()):
        raise AudioError(f"{text}: would be replaced by the running order and is none; give the reel another name")


def running_order_path(path: Path) -> Path:
    """Where the running order of a reel goes."""
    return path.with_suffix(".txt")


def _holds(path: Path, mark: bytes) -> bool:
    with suppress(OSError):
        return mark in path.read_bytes()
    return False
