"""What keeps a machine from working on a batch: other code, or files that it does not see."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile

from chainsim.audio.whole import part_beside, writing
from chainsim.batch.results.keys import identity
from chainsim.errors import printable


@dataclass(frozen=True)
class Needs:
    """What a machine must have to work on a batch.

    Attributes
    ----------
    version : str
        As `identity` gives it here.
    notes : sequence of str
        Files left in the folders that it must be able to write.
    sizes : mapping from path to bytes
        Files that it must be able to read.
    """

    version: str
    notes: Sequence[str]
    sizes: Mapping[str, int]

    def renew(self) -> None:
        """See to it that the notes are there, and that none is old enough to be taken for a killed run's."""
        for note in map(Path, self.notes):
            with writing(note):
                note.touch()


@contextmanager
def needs(folders: Iterable[Path], files: Iterable[Path]) -> Iterator[Needs]:
    """Leave a note in every folder as long as machines may be asked for it.

    Parameters
    ----------
    folders, files : iterable of Path
        Absolute paths. Folders are made if need be; a file that is not here is not asked for.

    Raises
    ------
    AudioError
        If a folder cannot be made or written.
    """
    sizes = {str(path): path.stat().st_size for path in sorted(files) if path.is_file()}
    with ExitStack() as stack:
        yield Needs(identity(), [stack.enter_context(_note(folder)) for folder in folders], sizes)


@contextmanager
def _note(folder: Path) -> Iterator[str]:
    """Leave a file with a name that nobody can guess; if this run is killed, the store's sweep knows it for a part."""
    note = part_beside(folder / "note")
    try:
        with writing(note):
            folder.mkdir(parents=True, exist_ok=True)
            note.touch()
        yield str(note)
    finally:
        with suppress(OSError):
            note.unlink()


def faults_there(wanted: Needs) -> list[str]:
    """Say, on a machine of a cluster, why it cannot be given work.

    >>> faults_there(Needs(identity(), [], {}))
    []
    """
    faults = []
    if identity() != wanted.version:
        faults.append(f"has chainsim {identity()}, and here is {wanted.version}: they must be the same")
    for note in map(Path, wanted.notes):
        if not note.exists():
            faults.append(f"does not see the folder {note.parent}, which must be on storage that all machines share")
        elif not _writable(note.parent):
            faults.append(f"cannot write into {note.parent}")
    found = {path: _size(path) for path in wanted.sizes}
    if missing := [path for path in found if found[path] is None]:
        more = f" and {len(missing) - 1} more" if missing[1:] else ""
        faults.append(f"does not see {missing[0]}{more}, which must be on storage that all machines share")
    if other := [path for path in found if found[path] not in (None, wanted.sizes[path])]:
        more = f", and {len(other) - 1} more" if other[1:] else ""
        faults.append(f"sees another file at {other[0]}: {found[other[0]]} bytes, here {wanted.sizes[other[0]]}{more}")
    return faults


def _size(path: str) -> int | None:
    try:
        return Path(path).stat().st_size
    except OSError:
        return None


def _writable(folder: Path) -> bool:
    try:
        with TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def answer(asked: list[str] | BaseException) -> list[str]:
    """The faults of a machine that was asked, also where it had no such function: whatever its import ends in."""
    if isinstance(asked, BaseException):
        return [f"has no chainsim, or another than here, {identity()}: {printable(str(asked))}"]
    return asked
