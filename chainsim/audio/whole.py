"""Files that appear whole or not at all: written under a hidden name beside the final one, then renamed."""

from __future__ import annotations

import errno
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from chainsim.errors import AudioError, StorageError

_FULL = (errno.ENOSPC, errno.EDQUOT)


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
        self.part = self._final.with_name(f".{secrets.token_hex(8)}.part")

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
