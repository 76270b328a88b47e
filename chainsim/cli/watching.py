"""Waiting until a file is saved."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path

EVERY_S = 0.1
MISSING_S = 2.0
"""A file that is missing for longer is not being saved: it is gone."""


class Watched:
    """Sketches, whatever files these name, and other files.

    Parameters
    ----------
    sketches, others : sequences of Path
    """

    def __init__(self, sketches: Sequence[Path], others: Sequence[Path] = ()) -> None:
        self._named: dict[Path, tuple[Path, ...]] = dict.fromkeys(sketches, ())
        self._others = tuple(others)
        self._files: list[Path] = []
        self._seen: list[int] = []

    def look(self) -> None:
        """Note how all are saved now: before they are read.

        Of a sketch that cannot be read those files count that it named before.
        """
        from chainsim.errors import SketchError

        for sketch in self._named:
            with suppress(SketchError):  # who loads it tells what is wrong with it
                self._named[sketch] = tuple(_named_by(sketch))
        named = (path for paths in self._named.values() for path in paths)
        self._files = list(dict.fromkeys([*self._named, *named, *self._others]))
        self._seen = stamps(self._files)

    def wait(self) -> None:
        """Wait until one has been saved since."""
        wait_for_saving(self._files, self._seen)


def stamps(paths: Sequence[Path]) -> list[int]:
    """When each was last saved; -1 for what is not there."""
    found = []
    for path in paths:
        try:
            found.append(path.stat().st_mtime_ns)
        except OSError:
            found.append(-1)
    return found


def wait_for_saving(paths: Sequence[Path], seen: Sequence[int]) -> list[int]:
    """Wait until one has been saved since `seen`, and nothing is being saved any more; return the new stamps."""
    before, since_s = None, time.monotonic()
    while True:
        now = stamps(paths)
        if now != before:
            before, since_s = now, time.monotonic()
        elif now != list(seen):
            missing = any(new == -1 != old for new, old in zip(now, seen, strict=True))
            if not missing or time.monotonic() - since_s > MISSING_S:
                return now
        time.sleep(EVERY_S)


def _named_by(sketch: Path) -> Iterator[Path]:
    """Files that a sketch names, and what could be one that is not there yet."""
    from chainsim.sketch.hashing import words_in
    from chainsim.sketch.toml_files import read_text, toml_values

    folder = sketch.parent.resolve()
    for word in words_in(toml_values(read_text(sketch, "a sketch"), sketch.name, "")):
        with suppress(OSError, ValueError):
            path = (folder / word).resolve()
            if path.is_relative_to(folder) and (path.suffix or path.is_file()):
                yield path
