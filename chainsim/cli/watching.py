"""Waiting until a file is saved."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

EVERY_S = 0.2


def stamps(paths: Sequence[Path]) -> list[int]:
    """When each was last saved; -1 for what is not there."""
    found = []
    for path in paths:
        try:
            found.append(path.stat().st_mtime_ns)
        except OSError:
            found.append(-1)
    return found


def wait_for_saving(paths: Sequence[Path], seen: list[int]) -> list[int]:
    """Wait until one has been saved since `seen`; what is missing is just being saved."""
    while (now := stamps(paths)) == seen or -1 in now:
        time.sleep(EVERY_S)
    return now
