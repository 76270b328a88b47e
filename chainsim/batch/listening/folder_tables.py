"""What a folder of results says of itself, and the take that its sounds were made of."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chainsim.audio.reading import take_hash
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.errors import AudioError, SettingError, StoreError


@dataclass(frozen=True)
class FolderKind:
    """A kind of folder of results.

    Attributes
    ----------
    table : str
        Name of the file that tells of the folder.
    command : str
        That makes it.
    narrow : str
        How there can be fewer versions.
    """

    table: str
    command: str
    narrow: str


BATCH = FolderKind(
    "results.json",
    "chainsim batch",
    "choose patches (--patch), or run chainsim batch with fewer sketches or values into another folder",
)
ORDERS = FolderKind(
    "orders.json",
    "chainsim orders",
    "run chainsim orders with --groups 12, or as few as your ears have time for",
)
TABLE_FORMAT = 1
_MOST_BYTES = 200_000_000


def table_of(folder: Path) -> tuple[FolderKind, dict[str, Any]]:
    """The newer of the tables in a folder, with what it is: that of a batch, or that of orders.

    Raises
    ------
    StoreError
        If it has none, or the table is damaged.
    """
    kinds = [kind for kind in (BATCH, ORDERS) if (folder / kind.table).is_file()]
    if not kinds:
        none = " and ".join(f"no {kind.table} of {kind.command}" for kind in (BATCH, ORDERS))
        raise StoreError(f"{folder}: holds {none}")
    kind = max(kinds, key=lambda kind: (folder / kind.table).stat().st_mtime_ns)
    path = folder / kind.table
    with telling_of_damage(path), path.open("rb") as file:
        table: dict[str, Any] = json.loads(file.read(_MOST_BYTES))
        if table["format"] != TABLE_FORMAT or not isinstance(table["rows"], list):
            raise ValueError("another format")
    return kind, table


@contextmanager
def telling_of_damage(path: Path) -> Iterator[None]:
    """Say of a table in which something is not as it was written that it is damaged."""
    try:
        yield
    except SettingError:
        raise
    except (OSError, KeyError, TypeError, ValueError, IndexError, AttributeError, RecursionError) as error:
        raise StoreError(f"{path}: is damaged ({error!r:.80}); run the command that made it again") from error


def chosen_take(takes: Sequence[str], take: Path | None, folder: Path) -> tuple[str, Path]:
    """Which of the takes of a table is meant, as the table calls it, and where it is.

    Parameters
    ----------
    takes : sequence of str
        As the table calls them.
    take : Path or None
        Which one, or where it is now; may be None if there is only one.
    folder : Path

    Raises
    ------
    SettingError
        If it is open which one is meant.
    AudioError
        If it is not where it was.
    """
    known = list(dict.fromkeys(takes))
    if take is None and len(known) > 1:
        raise SettingError(f"{folder}: has sounds of {len(known)} takes; choose one with --take: {', '.join(known)}")
    alike = known if take is None else [name for name in known if Path(name).name == take.name]
    if take is not None and len(alike) > 1:
        alike = [name for name in alike if Path(name).resolve() == take.resolve()]
    if len(alike) != 1:
        raise SettingError(f"{folder}: has no sounds of {take}; there are those of {', '.join(known) or 'none'}")
    path = Path(alike[0]) if take is None else take
    if not path.is_file():
        raise AudioError(f"{path}: the take is not there; say with --take where it is now")
    return alike[0], path


def check_take(path: Path, sha256: str, folder: Path, kind: FolderKind) -> None:
    """Refuse another take than the one that a folder was made of.

    Raises
    ------
    AudioError
        If it is another, or cannot be read.
    """
    if take_hash(path) != sha256:
        raise AudioError(f"{path}: is not the take that {folder} was made of; run {kind.command} again")


def file_and_figures(store: ResultStore, key: str, name: str, kind: FolderKind) -> tuple[Path, SoundFigures]:
    """A sound of a folder and its figures, if every byte of it is as it was made.

    Parameters
    ----------
    store : ResultStore
    key : str
    name : str
        As the table has it.
    kind : FolderKind

    Raises
    ------
    StoreError
        If it is missing or has changed.
    """
    file, figures = store.audio(key), store.figures(key)
    if file is None or figures is None:
        path = store.folder / name
        what = "has changed since it was made" if path.exists() else "is missing"
        raise StoreError(f"{path}: {what}; run the same {kind.command} command again to make it")
    return file, figures
