"""What a watched page that is open is told: which page is the newest, what is wrong, and that someone is watching."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from contextlib import AbstractContextManager, suppress
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Any

from chainsim.audio.writing import write_text_whole
from chainsim.errors import AudioError
from chainsim.listen.page.plain_data import as_json

NOW = "now.js"
RENEWED_EVERY_S = 5.0
"""The page takes a time that is older than 20 s for the watcher's end."""

_CALL, _END = "chainsimNow(", ");\n"
_writing = Lock()


def tell_open_page(folder: Path, told: Mapping[str, Any]) -> None:
    """Write what a watched page is to know now, and the time of it.

    Parameters
    ----------
    folder : Path
    told : mapping
        `stamp` of the newest page, or what it `says`.

    Raises
    ------
    AudioError
        If the file cannot be written.
    """
    with _writing:
        _write(folder, {**told, "time": _now_ms()})


def tell_watcher(folder: Path, text: str) -> None:
    """Have a watched page that is open say something, until it is written anew: why there is no new sound, say.

    A page that has not yet taken up the newest still learns of it.

    Raises
    ------
    AudioError
        If the file cannot be written.
    """
    with _writing:
        newest: dict[str, Any] = {}
        with suppress(OSError, ValueError):
            newest = {key: value for key, value in _told(folder).items() if key == "stamp"}
        _write(folder, {**newest, "says": text, "time": _now_ms()})


class Watching(AbstractContextManager["Watching"]):
    """While it lasts, a page that is open knows that it is watched, also while a long take is rendered.

    Parameters
    ----------
    folder : Path
        Of the page; it need not be there yet.
    every_s : float
    """

    def __init__(self, folder: Path, every_s: float = RENEWED_EVERY_S) -> None:
        self._folder, self._every_s = folder, every_s
        self._over = Event()
        self._thread = Thread(target=self._renew, name="watched page", daemon=True)

    def __enter__(self) -> Watching:
        """Begin."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Tell the page that nobody watches any more."""
        self._over.set()
        self._thread.join()
        self._retell(0)

    def _renew(self) -> None:
        over = False
        while not over:
            self._retell(_now_ms())
            over = self._over.wait(self._every_s)

    def _retell(self, time_ms: int) -> None:
        """Tell the same once more, at another time; what cannot be written is told by who makes the page."""
        with _writing, suppress(OSError, ValueError, AudioError):
            _write(self._folder, {**_told(self._folder), "time": time_ms})


def _told(folder: Path) -> dict[str, Any]:
    text = (folder / NOW).read_text(encoding="utf-8")
    told: dict[str, Any] = json.loads(text.removeprefix(_CALL).removesuffix(_END))
    return told


def _write(folder: Path, told: Mapping[str, Any]) -> None:
    write_text_whole(folder / NOW, f"{_CALL}{as_json(told)}{_END}")


def _now_ms() -> int:
    return round(time.time() * 1000.0)
