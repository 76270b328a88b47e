"""A result store keeps what it was given, trusts nothing that it reads, and touches nothing of another version."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chainsim.audio.whole import STALE_S, part_beside, writing
from chainsim.batch.results import store as module
from chainsim.batch.results.keys import identity
from chainsim.batch.results.store import ResultStore
from chainsim.errors import AudioError, StorageError, StoreError
from tests.batch.results.figures import FIGURES, SILENCE

KEY, OTHER = "0a" * 32, "0b" * 32
ARRAYS = {"loudness": np.arange(24.0).reshape(2, 12), "count": np.array([3], np.int64)}


def seen(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Every file, when it was written, and what is in it."""
    return {str(p): (p.stat().st_mtime_ns, p.read_bytes()) for p in sorted(folder.rglob("*")) if p.is_file()}


def test_what_was_kept_comes_back(tmp_path: Path) -> None:
    store = ResultStore(tmp_path / "deep" / "results")
    assert store.figures(KEY) is None
    assert not store.has(KEY)
    store.keep(KEY, FIGURES, arrays=ARRAYS)
    store.keep(OTHER, SILENCE)
    again = ResultStore(tmp_path / "deep" / "results")
    assert again.figures(KEY) == FIGURES
    assert repr(again.figures(OTHER)) == repr(SILENCE)  # NaN is not equal to itself, and -inf must stay -inf
    found = again.arrays(KEY)
    assert {n: (x.dtype, x.tobytes()) for n, x in found.items()} == {
        n: (x.dtype, x.tobytes()) for n, x in ARRAYS.items()
    }
    assert again.has(KEY, compare=True)
    assert not again.has(OTHER, compare=True)
    with pytest.raises(StoreError, match=r"0b\.npz: is missing or damaged"):
        again.arrays(OTHER)


def test_a_sound_file_counts_while_it_is_what_it_was(tmp_path: Path) -> None:
    store, audio = ResultStore(tmp_path), tmp_path / "audio" / "a.wav"
    store.make_audio_folder()
    store.keep(KEY, FIGURES)
    assert store.has(KEY)
    assert not store.has(KEY, audio=audio)
    audio.write_bytes(b"RIFF" * 9)
    assert not store.has(KEY, audio=audio)  # nobody said that this is it
    store.keep(KEY, FIGURES, audio=audio)
    assert store.has(KEY, audio=audio)
    assert store.audio(KEY) == audio
    store.keep(KEY, FIGURES, arrays=ARRAYS)  # for its arrays' sake; its file is still known
    assert store.has(KEY, audio=audio, compare=True)
    os.truncate(audio, 35)
    assert not store.has(KEY, audio=audio)
    audio.unlink()
    assert not store.has(KEY, audio=audio)
    assert store.audio(KEY) is None
    assert store.has(KEY)


def later(path: Path) -> None:
    """Give a file a time after all that was written so far."""
    os.utime(path, (time.time() + 60,) * 2)


def test_a_sound_file_of_the_same_length_is_read_where_its_time_does_not_tell(tmp_path: Path) -> None:
    store, audio, other = ResultStore(tmp_path), tmp_path / "a.wav", tmp_path / "b.wav"
    audio.write_bytes(b"RIFF" * 9)
    other.write_bytes(b"RIFX" * 9)
    store.keep(KEY, FIGURES, audio=audio)
    later(audio)  # touched, or copied from elsewhere
    assert store.has(KEY, audio=audio)
    audio.write_bytes(b"RIFX" * 9)
    later(audio)
    assert not store.has(KEY, audio=audio)
    assert store.audio(KEY) is None
    assert not store.has(KEY, audio=other)
    other.write_bytes(b"RIFF" * 9)
    assert store.has(KEY, audio=other)  # the same under another name


def test_a_folder_of_results_may_be_copied(tmp_path: Path) -> None:
    store = ResultStore(tmp_path / "here")
    (tmp_path / "here" / "a.wav").write_bytes(b"RIFF")
    store.keep(KEY, FIGURES, arrays=ARRAYS, audio=tmp_path / "here" / "a.wav")
    shutil.copytree(tmp_path / "here", tmp_path / "there")
    later(tmp_path / "there" / "a.wav")
    again = ResultStore(tmp_path / "there")
    assert again.audio(KEY) == tmp_path / "there" / "a.wav"
    assert again.has(KEY, compare=True)


@pytest.mark.parametrize("name", ["../secret.wav", "/etc/hostname", "audio/../../secret.wav"])
def test_a_record_leads_to_no_file_elsewhere(name: str, tmp_path: Path) -> None:
    (tmp_path / "secret.wav").write_bytes(b"x")
    store = ResultStore(tmp_path / "out")
    (tmp_path / "out" / "a.wav").write_bytes(b"x")
    store.keep(KEY, FIGURES, audio=tmp_path / "out" / "a.wav")
    forge(tmp_path / "out" / "store" / f"{KEY}.json", lambda record: record["audio"].update(file=name))
    assert store.has(KEY)
    assert store.audio(KEY) is None


def forge(path: Path, change: Callable[[dict[str, Any]], object]) -> None:
    """Change a record, and its own digest as well."""
    record = json.loads(path.read_text())
    del record["sha256"]
    change(record)
    text = json.dumps({**record, "sha256": module._digest(path.stem, record)})
    path.write_text(text)


@pytest.mark.parametrize(
    "change",
    [
        lambda record: record.update(audio=[]),
        lambda record: record.update(audio={"file": "a.wav"}),
        lambda record: record.update(audio={"file": 3, "bytes": 1, "sha256": ""}),
        lambda record: record.update(figures=None),
        lambda record: record.update(more=1),
    ],
)
def test_a_record_of_another_shape_is_missing(change: Callable[[dict[str, Any]], object], tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES)
    forge(tmp_path / "store" / f"{KEY}.json", change)
    assert not store.has(KEY)
    assert store.audio(KEY) is None


def test_however_many_warnings_there_are_a_record_can_be_read_again(tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, replace(FIGURES, warnings=tuple(f"{i} {'w' * 100_000}" for i in range(200))))
    found = store.figures(KEY)
    assert found is not None
    assert [line.split()[0] for line in found.warnings] == [str(i) for i in range(50)]


def test_a_record_that_tells_of_no_archive_is_told(tmp_path: Path) -> None:
    store, content = ResultStore(tmp_path), b"cos\nsystem\n(S'false'\ntR."
    store.keep(KEY, FIGURES, arrays=ARRAYS)
    (tmp_path / "store" / f"{KEY}.npz").write_bytes(content)
    digest = hashlib.sha256(content).hexdigest()
    forge(tmp_path / "store" / f"{KEY}.json", lambda record: record.update(arrays=digest))
    with pytest.raises(StoreError, match="is missing or damaged"):
        store.arrays(KEY)


def test_arrays_of_another_sound_are_missing(tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES, arrays=ARRAYS)
    store.keep(OTHER, FIGURES, arrays={"loudness": np.zeros((2, 12)), "count": np.array([3], np.int64)})
    (tmp_path / "store" / f"{OTHER}.npz").replace(tmp_path / "store" / f"{KEY}.npz")
    assert not store.has(KEY, compare=True)
    with pytest.raises(StoreError):
        store.arrays(KEY)
    store.keep(KEY, FIGURES, arrays=ARRAYS)
    store.keep(KEY, FIGURES)  # once more, for other things' sake; its arrays are still known
    assert store.has(KEY, compare=True)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "",
        lambda text: text[: len(text) // 2],
        lambda text: "[1, 2]",
        lambda text: "null",
        lambda text: "[" * 100_000,
        lambda text: text.replace("-23.4", "-13.4"),
        lambda text: text.replace("-23.4", '"loud"'),
        lambda text: text.replace('"frames": 9600', '"frames": -1'),
        lambda text: text.replace('"channels": 2, ', ""),
        lambda text: text.replace('"audio": null', '"audio": true'),
        lambda text: "\udcff" + text,
    ],
)
def test_a_damaged_record_is_missing_and_can_be_made_again(change: object, tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES)
    path = tmp_path / "store" / f"{KEY}.json"
    text = path.read_text()
    assert callable(change)
    assert change(text) != text
    path.write_text(change(text), errors="surrogateescape")
    assert store.figures(KEY) is None
    assert not store.has(KEY)
    store.keep(KEY, FIGURES)
    assert store.figures(KEY) == FIGURES


def test_a_record_under_another_name_or_as_a_folder_is_missing(tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES)
    (tmp_path / "store" / f"{KEY}.json").rename(tmp_path / "store" / f"{OTHER}.json")
    (tmp_path / "store" / f"{KEY}.json").mkdir()
    assert store.figures(OTHER) is None
    assert store.figures(KEY) is None


@pytest.mark.parametrize(
    "change",
    [
        lambda data: b"",
        lambda data: data[: len(data) // 2],
        lambda data: data[:200] + bytes([data[200] ^ 1]) + data[201:],  # one bit of a sample
        lambda data: b"\x93NUMPY\x01\x00\xff\xff",
        lambda data: b"cos\nsystem\n(S'false'\ntR.",  # a pickle, which is never run
    ],
)
def test_damaged_arrays_are_missing(change: object, tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES, arrays=ARRAYS)
    path = tmp_path / "store" / f"{KEY}.npz"
    assert callable(change)
    path.write_bytes(change(path.read_bytes()))
    assert store.has(KEY)
    assert not store.has(KEY, compare=True)
    with pytest.raises(StoreError):
        store.arrays(KEY)


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        ({"format": 1, "version": "0.0.1+0123456789abcdef"}, "results of chainsim 0.0.1+0123456789abcdef, format 1"),
        ({"format": 2, "version": None}, "format 2"),
        ({"format": 1}, "is not the mark of a result store"),
        (["\x1b[2J"], "is not the mark of a result store"),
        ({"format": 1, "version": "\x1b[2J\nx"}, r"holds results of chainsim \x1b[2J\nx, format 1"),
    ],
)  # fmt: skip
def test_another_version_is_refused_and_left_alone(mark: object, said: str, tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES, arrays=ARRAYS)
    if isinstance(mark, dict) and mark.get("version", "") is None:
        mark["version"] = identity()
    (tmp_path / "store" / "store.json").write_text(json.dumps(mark))
    old = part_beside(tmp_path / "store" / "KEY.json")
    old.write_bytes(b"x")
    os.utime(old, (0, 0))
    before = seen(tmp_path)
    with pytest.raises(StoreError) as refused:
        ResultStore(tmp_path)
    assert said in str(refused.value)
    assert "choose another folder" in str(refused.value)
    assert str(refused.value).isprintable()
    assert seen(tmp_path) == before


def test_a_folder_with_other_things_in_it_will_do(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear aunt")
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "apples.txt").write_text("3")
    before = seen(tmp_path)
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES)
    assert before.items() <= seen(tmp_path).items()


def test_where_no_folder_can_be_it_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "store").write_text("x")
    for folder in (tmp_path / "file", tmp_path / "folder", tmp_path / "nul\0"):
        with pytest.raises(AudioError, match="cannot be written"):
            ResultStore(folder)


def test_what_killed_runs_left_is_swept_when_it_is_old(tmp_path: Path) -> None:
    store = ResultStore(tmp_path)
    store.make_audio_folder()
    old, young = (part_beside(tmp_path / "x").name for _ in range(2))
    places = (tmp_path, tmp_path / "store", store.audio_folder)
    for place in places:
        for name in (old, young, "old.part"):
            (place / name).write_bytes(b"x")
        for name in (old, "old.part"):
            os.utime(place / name, times=(time.time() - STALE_S - 60,) * 2)
    ResultStore(tmp_path)
    for place in places:
        assert {p.name for p in place.iterdir()} - {"store.json", "store", "audio"} == {young, "old.part"}


def test_many_may_open_and_fill_one_store_at_once(tmp_path: Path) -> None:
    keys = [f"{i:064x}" for i in range(5)]

    def fill(_: int) -> list[bool]:
        store = ResultStore(tmp_path)
        for key in keys:
            store.keep(key, FIGURES, arrays=ARRAYS)
        return [store.has(key, compare=True) for key in keys]

    with ThreadPoolExecutor(8) as pool:
        assert all(all(row) for row in pool.map(fill, range(24)))
    there = {p.name for p in (tmp_path / "store").iterdir()}
    assert there == {"store.json", *(f"{k}.json" for k in keys), *(f"{k}.npz" for k in keys)}


@pytest.mark.parametrize(
    ("code", "kind"),
    [(errno.ENOSPC, StorageError), (errno.EDQUOT, StorageError), (errno.EACCES, AudioError)],
)
def test_a_full_disk_is_told_from_other_troubles(code: int, kind: type[AudioError], tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="nothing was kept") as raised, writing(tmp_path / "x"):
        raise OSError(code, os.strerror(code))
    assert type(raised.value) is kind


@pytest.mark.parametrize("arrays", [None, ARRAYS])
def test_a_full_disk_leaves_what_was_there(arrays: object, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = ResultStore(tmp_path)
    store.keep(KEY, FIGURES)
    before = seen(tmp_path)

    def full(*arguments: object, **more: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_text", full)
    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(StorageError, match="No space left on device; nothing was kept"):
        store.keep(OTHER, FIGURES, arrays=None if arrays is None else ARRAYS)
    assert seen(tmp_path) == before
