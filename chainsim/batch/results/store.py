"""A folder of results by key, which any number of runs and machines may fill together.

    FOLDER/audio/*.wav           what is to be heard
    FOLDER/store/store.json      which code filled it
    FOLDER/store/KEY.npz         arrays of a sound, where it is to be compared with others
    FOLDER/store/KEY.json        its figures; written last, so a sound is there when this is

Every file appears whole or not at all, and two that write the same key write the same. What is read back is trusted as
little as any file: a record that is cut short or changed counts as missing.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.audio.whole import PartFile, writing
from chainsim.audio.writing import write_text_whole
from chainsim.batch.results.keys import identity
from chainsim.batch.sound_figures import SoundFigures
from chainsim.errors import StoreError, printable

FORMAT = 1
STALE_S = 86_400.0
"""A hidden part file that nobody has written to for so long is what a killed run left behind."""

_NOT_FINITE = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}
_PART = re.compile(r"\.[0-9a-f]{16}\.part")
_MOST_BYTES = 1_000_000

Arrays = Mapping[str, npt.NDArray[Any]]


class ResultStore:
    """Results in a folder; opens the store that is there, or makes one.

    Parameters
    ----------
    folder : Path
        Made if need be. What else lies in it is left alone.

    Attributes
    ----------
    audio_folder : Path
        Where the sounds go; made with the first of them.

    Raises
    ------
    StoreError
        If the store there is of another format, or was filled by another version of the code: nothing is touched.
    AudioError
        If the folder cannot be made or written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        self.audio_folder = self.folder / "audio"
        self._records = self.folder / "store"
        mark = self._records / "store.json"
        if not _exists(mark):
            with writing(self._records):
                self._records.mkdir(parents=True, exist_ok=True)
            write_text_whole(mark, json.dumps({"format": FORMAT, "version": identity()}) + "\n")
        _check_mark(mark)
        for place in (self._records, self.audio_folder):
            _sweep(place)

    def has(self, key: str, *, audio: Path | None = None, compare: bool = False) -> bool:
        """Whether a sound is there, and with it what else is wanted.

        Parameters
        ----------
        audio : Path or None
            Where its file should lie, as long as it was when it was kept.
        compare : bool
            Whether its arrays should be there, every byte of them readable.
        """
        record = self._record(key)
        if record is None:
            return False
        if audio is not None and (record["audio_bytes"] is None or record["audio_bytes"] != _bytes(audio)):
            return False
        return not compare or self._read_arrays(key) is not None

    def figures(self, key: str) -> SoundFigures | None:
        """Figures of a sound; None if it is not there."""
        record = self._record(key)
        return None if record is None else _figures(record)

    def arrays(self, key: str) -> Arrays:
        """What is kept of a sound to compare it with others.

        Raises
        ------
        StoreError
            If it is not there.
        """
        found = self._read_arrays(key)
        if found is None:
            raise StoreError(f"{self._records / key}.npz: is missing or damaged; run the same command again to make it")
        return found

    def keep(self, key: str, figures: SoundFigures, *, arrays: Arrays | None = None, audio: Path | None = None) -> None:
        """Keep a sound's figures and, if there are any, its arrays and the length of the file that it went to.

        Raises
        ------
        StorageError
            If the disk is full.
        AudioError
            If it cannot be written.
        """
        if arrays is not None:
            target, named = self._records / f"{key}.npz", dict[str, Any](arrays)
            with PartFile(target) as part, writing(target), part.open("wb") as file:
                np.savez(file, **named)
        audio_bytes = None if audio is None else _bytes(audio)
        if audio is None and (before := self._record(key)) is not None:
            audio_bytes = before["audio_bytes"]
        record: dict[str, Any] = {"figures": _spelled(figures.to_dict()), "audio_bytes": audio_bytes}
        write_text_whole(self._records / f"{key}.json", json.dumps({**record, "sha256": _digest(key, record)}) + "\n")

    def _record(self, key: str) -> dict[str, Any] | None:
        """The record of a key; None if it is missing, damaged or says something else than records do."""
        record = _read_json(self._records / f"{key}.json")
        if not isinstance(record, dict) or record.pop("sha256", None) != _digest(key, record):
            return None
        if set(record) != {"figures", "audio_bytes"} or _figures(record) is None:
            return None
        return record

    def _read_arrays(self, key: str) -> Arrays | None:
        try:
            with (self._records / f"{key}.npz").open("rb") as file, np.load(file, allow_pickle=False) as archive:
                return {name: archive[name] for name in archive.files}  # its checksums are checked on the way
        except Exception:  # a damaged archive may make the reader stumble anywhere
            return None


def _check_mark(mark: Path) -> None:
    found = _read_json(mark)
    if not isinstance(found, dict) or not isinstance(found.get("version"), str):
        raise StoreError(f"{mark}: is not the mark of a result store; choose another folder; nothing was changed")
    if found.get("format") != FORMAT or found["version"] != identity():
        theirs = f"chainsim {found['version']:.60}, format {found.get('format')!r:.20}"
        raise StoreError(
            printable(
                f"{mark.parent}: holds results of {theirs}; this is chainsim {identity()}, format {FORMAT},"
                " whose sounds may differ; choose another folder; nothing was changed"
            )
        )


def _sweep(place: Path) -> None:
    with suppress(OSError):
        for path in place.iterdir():
            if _PART.fullmatch(path.name) and time.time() - path.stat().st_mtime > STALE_S:
                path.unlink()


def _figures(record: Mapping[str, Any]) -> SoundFigures | None:
    try:
        return SoundFigures.from_dict(_read(record["figures"]))
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def _spelled(values: Mapping[str, Any]) -> dict[str, Any]:
    """Numbers that JSON does not know, as words."""
    return {k: str(v) if isinstance(v, float) and not math.isfinite(v) else v for k, v in values.items()}


def _read(values: Mapping[str, Any]) -> dict[str, Any]:
    return {k: _NOT_FINITE.get(v, v) if isinstance(v, str) else v for k, v in values.items()}


def _digest(key: str, record: Mapping[str, Any]) -> str:
    return hashlib.sha256(f"{key}\0{json.dumps(record, sort_keys=True)}".encode()).hexdigest()


def _read_json(path: Path) -> Any:
    """What a file says; None for one that is missing, too long to be ours, or no JSON."""
    try:
        with path.open("rb") as file:
            return json.loads(file.read(_MOST_BYTES))
    except (OSError, ValueError, RecursionError):
        return None


def _exists(path: Path) -> bool:
    with writing(path):  # a folder that may not be looked into
        return path.exists()


def _bytes(path: Path) -> int | None:
    try:
        return path.stat().st_size
    except OSError:
        return None
