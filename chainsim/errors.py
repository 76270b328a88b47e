"""The errors chainsim raises: each message is one line that says where, what was found and what is allowed."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class ChainsimError(Exception):
    """Anything wrong with what the user gave; the command line prints it and exits with code 2."""


class SettingError(ChainsimError, ValueError):
    """A value outside its range, or one that is not of its kind."""


class SketchError(ChainsimError):
    """A sketch that cannot be used; `faults` holds one line for each thing wrong."""

    def __init__(self, faults: str | Iterable[str]) -> None:
        self.faults = [faults] if isinstance(faults, str) else list(faults)
        super().__init__("\n".join(self.faults))


class GraphError(ChainsimError):
    """A chain that cannot be built: a loop, or ports that do not fit."""


class AudioError(ChainsimError):
    """A take or an output file that cannot be read or written."""


class StorageError(AudioError):
    """A disk that is full, or a quota that is used up: what else is to be written there would fail as well."""


class StoreError(ChainsimError):
    """A folder of results that cannot be used: of another version, or not one."""


def figure(value: float) -> str:
    """A number as messages show it, however large: a whole number of a sketch may be beyond what floats hold."""
    return f"{value:g}" if abs(value) < 1e300 else f"{value!r:.60}"


def printable(text: str) -> str:
    """Text on one line, with what would move a terminal's cursor spelled out."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def nearest(name: str, known: Iterable[str]) -> str:
    """Return '; did you mean "..."?' for the known name closest to `name`, or an empty string."""
    found = difflib.get_close_matches(name, list(known), n=1, cutoff=0.55)
    return f'; did you mean "{found[0]}"?' if found else ""
