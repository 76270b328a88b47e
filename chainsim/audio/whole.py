"""Files that appear whole or not at all: written under a hidden name beside the final one, then renamed."""

from __future__ import annotations

import errno
import functools
import hashlib
import os
import re
import secrets
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from chainsim.errors import AudioError, StorageError

_FULL = (errno.ENOSPC, errno.EDQUOT)

_PART = re.compile(r"\.(?P<host>[0-9a-f]{8})-(?P<pid>[0-9a-f]{1,8})-[0-9a-f]{12}\.part")
STALE_S, UNSURE_S = 86_400.0, 60.0


class PartFile:
    """A hidden file beside `path`, to be kept under that name or dropped.

    As a context manager it is kept when the block ends well, dropped on any exception, also an interrupt.

    Parameters
    ----------
    path : str or Path
        Final name. A link is followed: its target is replaced, the link stays.

    Raises
    ------
    AudioError
        If the folder does not exist, or the name belongs to something that is not a regular file.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        with writing(self.path):
            self._final = self.path.resolve()
            if self._final.is_dir():
                raise AudioError(f"{self.path}: is a folder, not a file to write")
            if self._final.exists() and not self._final.is_file():
                raise AudioError(f"{self.path}: is not a regular file and will not be replaced")
            if not self._final.parent.is_dir():
                raise AudioError(f"{self.path}: the folder {self._final.parent} does not exist")
        self.part = part_beside(self._final)

    def keep(self) -> None:
        """Rename into place; an older file of that name is replaced."""
        with writing(self.path):
            self.part.replace(self._final)

    def drop(self) -> None:
        """Remove what was written."""
        with suppress(OSError):
            self.part.unlink()

    def __enter__(self) -> Path:
        return self.part

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        try:
            if kind is None:
                self.keep()
        finally:
            self.drop()


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn what the system says about a file being written (disk full, no permission) into one line."""
    try:
        yield
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        kind = StorageError if getattr(error, "errno", None) in _FULL else AudioError
        raise kind(f"{path}: cannot be written: {reason}; nothing was kept") from error


def part_beside(path: Path) -> Path:
    """A hidden name beside a file's, which nobody can guess and which says whose it is."""
    return path.with_name(f".{_host()}-{os.getpid():x}-{secrets.token_hex(6)}.part")


def left_behind(path: Path) -> bool:
    """Whether a file is hidden, half-written, and of a process that was killed.

    Of processes of this machine that is known, a minute after their last word; of others it is taken for true after a
    day.
    """
    named = _PART.fullmatch(path.name)
    if named is None:
        return False
    try:
        idle_s = time.time() - path.stat().st_mtime
    except OSError:
        return False
    ours = named["host"] == _host() and sys.platform != "win32"  # where a look at a process may end it
    return idle_s > (UNSURE_S if ours and not _lives(int(named["pid"], 16)) else STALE_S)


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


@functools.cache
def _host() -> str:
    return hashlib.sha256(socket.gethostname().encode()).hexdigest()[:8]
