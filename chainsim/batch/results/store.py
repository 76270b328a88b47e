"""A folder of results by key, which any number of runs and machines may fill together.

    FOLDER/audio/*.wav           what is to be heard
    FOLDER/store/store.json      which code filled it
    FOLDER/store/KEY.npz         arrays of a sound, where it is to be compared with others
    FOLDER/store/KEY.json        its figures, and hashes of what else there is; written last, so a sound is there when
                                 this is

Every file appears whole or not at all, and two that write the same key write the same. What is read back is trusted as
little as any file: what was cut short or changed counts as missing. A sound that nobody touched since its record was
written is not read for that; where this cannot be told, as in a copy of the folder, it is.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.audio.whole import PartFile, left_behind, writing
from chainsim.audio.writing import write_text_whole
from chainsim.batch.results.keys import identity
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.errors import StoreError, printable

FORMAT = 1

_NOT_FINITE = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}
_MOST_BYTES = 1_000_000
_MOST_WARNINGS, _MOST_LETTERS = 50, 1_000
"""Of them, and of each: a record stays short whatever a sketch or a take can be warned of."""

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
        for place in (self.folder, self._records, self.audio_folder):
            _sweep(place)

    def make_audio_folder(self) -> None:
        """Make the folder of the sounds.

        Raises
        ------
        AudioError
            If it cannot be made.
        """
        with writing(self.audio_folder):
            self.audio_folder.mkdir(exist_ok=True)

    def has(self, key: str, *, audio: Path | None = None, compare: bool = False) -> bool:
        """Whether a sound is there, and with it what else is wanted.

        Parameters
        ----------
        audio : Path or None
            Where its file should lie, with every byte of it as it was when it was kept.
        compare : bool
            Whether its arrays should be there, every byte of them, too.
        """
        record = self._record(key)
        if record is None or (audio is not None and not self._holds(audio, key, record)):
            return False
        return not compare or self._array_bytes(key, record) is not None

    def figures(self, key: str) -> SoundFigures | None:
        """Figures of a sound; None if it is not there."""
        record = self._record(key)
        return None if record is None else _figures(record)

    def audio(self, key: str) -> Path | None:
        """The file of a sound, as it was when it was kept, under the name it got then; None if it is not there."""
        record = self._record(key)
        path = None if record is None else self._audio_path(record)
        return path if record is not None and path is not None and self._holds(path, key, record) else None

    def arrays(self, key: str) -> Arrays:
        """What is kept of a sound to compare it with others.

        Raises
        ------
        StoreError
            If it is not there.
        """
        record = self._record(key)
        content = None if record is None else self._array_bytes(key, record)
        try:
            with np.load(io.BytesIO(content or b""), allow_pickle=False) as archive:
                return {name: archive[name] for name in archive.files}
        except Exception as error:  # what is no archive may make the reader stumble anywhere
            raise StoreError(
                f"{self._records / key}.npz: is missing or damaged; run the same command again to make it"
            ) from error

    def keep(self, key: str, figures: SoundFigures, *, arrays: Arrays | None = None, audio: Path | None = None) -> None:
        """Keep a sound's figures and, if there are any, its arrays, and what is in the file that it went to.

        Of many warnings the first 50 are kept.

        Raises
        ------
        StorageError
            If the disk is full.
        AudioError
            If it cannot be written, or the file that it went to cannot be read.
        """
        before = self._record(key)
        file = before["audio"] if before is not None and self.audio(key) is not None else None
        if audio is not None:
            with writing(audio):
                file = _file_record(audio, self.folder)
        arrays_sha256 = None if before is None else before["arrays"]
        if arrays is not None:
            arrays_sha256 = _write_arrays(self._records / f"{key}.npz", arrays)
        warnings = tuple(line[:_MOST_LETTERS] for line in figures.warnings[:_MOST_WARNINGS])
        said = _spelled(replace(figures, warnings=warnings).to_dict())
        record: dict[str, Any] = {"figures": said, "arrays": arrays_sha256, "audio": file}
        write_text_whole(self._records / f"{key}.json", json.dumps({**record, "sha256": _digest(key, record)}) + "\n")

    def _record(self, key: str) -> dict[str, Any] | None:
        """The record of a key; None if it is missing, damaged or says something else than records do."""
        record = _read_json(self._records / f"{key}.json")
        if not isinstance(record, dict) or record.pop("sha256", None) != _digest(key, record):
            return None
        if set(record) != {"figures", "arrays", "audio"} or _figures(record) is None:
            return None
        return record if record["audio"] is None or _tells_of_file(record["audio"]) else None

    def _array_bytes(self, key: str, record: Mapping[str, Any]) -> bytes | None:
        """The arrays' file, if it is the one that the record tells of."""
        try:
            content = (self._records / f"{key}.npz").read_bytes()
        except OSError:
            return None
        return content if hashlib.sha256(content).hexdigest() == record["arrays"] else None

    def _audio_path(self, record: Mapping[str, Any]) -> Path | None:
        """Where the file of a record lies; None if that is not in this folder."""
        name: str | None = None if record["audio"] is None else record["audio"]["file"]
        if name is None or PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts:
            return None
        return self.folder / name

    def _holds(self, path: Path, key: str, record: Mapping[str, Any]) -> bool:
        """Whether a file is the sound of a record: it is read where its length does not tell, nor its times."""
        kept = record["audio"]
        try:
            found, told = path.stat(), (self._records / f"{key}.json").stat()
            if kept is None or found.st_size != kept["bytes"]:
                return False
            touched_ns = max(found.st_mtime_ns, found.st_ctime_ns)
            if path == self._audio_path(record) and touched_ns <= told.st_mtime_ns:
                return True
            return bool(_file_sha256(path) == kept["sha256"])
        except OSError:
            return False


def _write_arrays(path: Path, arrays: Arrays) -> str:
    """Write arrays; return the file's hash."""
    content, named = io.BytesIO(), dict[str, Any](arrays)
    np.savez(content, **named)
    with PartFile(path) as part, writing(path):
        part.write_bytes(content.getbuffer())
    return hashlib.sha256(content.getbuffer()).hexdigest()


def _file_record(path: Path, folder: Path) -> dict[str, Any]:
    """What is told of a sound's file: its name if it lies in the folder, its length, and its hash."""
    name = path.relative_to(folder).as_posix() if path.is_relative_to(folder) else None
    return {"file": name, "bytes": path.stat().st_size, "sha256": _file_sha256(path)}


def _tells_of_file(told: Any) -> bool:
    kinds: dict[str, tuple[type, ...]] = {"file": (str, type(None)), "bytes": (int,), "sha256": (str,)}
    return isinstance(told, dict) and set(told) == set(kinds) and all(isinstance(told[k], kinds[k]) for k in kinds)


def _file_sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


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
            if left_behind(path):
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
