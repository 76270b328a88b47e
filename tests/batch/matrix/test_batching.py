"""Batches: every sketch, patch and value over every take, each sound made once, whatever happens in between."""

from __future__ import annotations

import csv
import errno
import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from chainsim import SettingError, SketchError, load_sketch, parse_sketch, render
from chainsim.audio.wav import WavWriter
from chainsim.batch.matrix.batching import plan_batch, run_batch, run_plan
from chainsim.batch.results.store import ResultStore
from chainsim.errors import AudioError, StorageError, StoreError
from chainsim.plain import json_text

FS = 8_000
SET = """
title = "Lantern walk"
tempo_bpm = 120
chain = ["tone", "shade", "lift"]
[blocks.tone]
type = "equalizer"
bands = [{ shape = "bell", freq_hz = 800, gain_db = 6 }]
[blocks.shade]
type = "equalizer"
bands = [{ shape = "low_pass", freq_hz = 2000 }]
[blocks.lift]
type = "gain"
[patches.soft]
engage = ["tone", "lift"]
[patches."=loud/\\u001b[1m"]
engage = ["tone", "shade", "lift"]
[rooms.hall.blocks.tone]
engaged = false
"""
PLAIN = 'chain = ["gain"]\n[blocks.gain]\ntype = "gain"\ngain_db = -6\n'
VARY = {"lift.gain_db": [-3, 0]}


def take(folder: Path, name: str, hz: float = 440.0, seconds: float = 0.2) -> Path:
    t = np.arange(round(seconds * FS)) / FS
    path = folder / name
    soundfile.write(path, 0.3 * np.sin(2.0 * np.pi * hz * t), FS, subtype="FLOAT")
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "set.toml").write_text(SET)
    (tmp_path / "plain.toml").write_text(PLAIN)
    for i, hz in enumerate((300.0, 500.0, 900.0)):
        take(tmp_path, f"take{i}.wav", hz)
    return tmp_path


def takes(folder: Path) -> list[Path]:
    return sorted(folder.glob("take*.wav"))


def kept(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each sound is kept from now on."""
    counts: Counter[str] = Counter()
    keep = ResultStore.keep

    def counting(store: ResultStore, key: str, *arguments: Any, **more: Any) -> None:
        counts[key] += 1
        keep(store, key, *arguments, **more)

    monkeypatch.setattr(ResultStore, "keep", counting)
    return counts


def content(folder: Path) -> dict[str, bytes]:
    """Every file that is no stray part of a killed run."""
    return {
        str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.suffix != ".part"
    }


def test_every_sketch_patch_and_value_over_every_take(folder: Path) -> None:
    told: list[tuple[int, int]] = []
    batch = run_batch(
        [folder / "set.toml"], takes(folder), folder / "out", vary=VARY, progress=lambda *n: told.append(n)
    )
    loud = "=loud/\x1b[1m"
    assert [(row.settings["lift.gain_db"], row.patch, row.take.name) for row in batch.rows] == [
        (value, patch, f"take{i}.wav") for value in (-3, 0) for patch in ("soft", loud) for i in range(3)
    ]
    assert (batch.rendered, batch.reused, batch.failed, batch.errors) == (12, 0, 0, ())
    # Each take: one "tone" for all, one "shade", and "lift" for each of two patches and two values; alone 2 (2 + 3)
    assert (batch.block_runs, batch.single_block_runs) == (3 * 6, 3 * 10)
    assert told[-1] == (12, 12)
    for row in batch.rows:
        assert row.file is not None
        found, rate_hz = soundfile.read(row.file, dtype="float32", always_2d=True)
        text = SET.replace('type = "gain"', f'type = "gain"\ngain_db = {row.settings["lift.gain_db"]}')
        dry, _ = soundfile.read(row.take)
        alone = render(parse_sketch(text).alone(row.patch), dry, rate_hz)
        assert np.array_equal(found, alone.audio.astype(np.float32))
        assert row.figures is not None
        assert (row.figures.frames, row.figures.channels) == found.shape
    with (folder / "out" / "results.csv").open(newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    written = json.loads((folder / "out" / "results.json").read_text())
    assert [row["patch"] for row in table[:6:3]] == ["soft", "'=loud/\\x1b[1m"]
    assert [row["patch"] for row in written["rows"]] == [row.patch for row in batch.rows]
    for line, row in zip(table, batch.rows, strict=True):
        assert row.figures is not None
        assert float(line["true_peak_dbtp"]) == pytest.approx(row.figures.true_peak_dbtp, rel=1e-5)
        assert (folder / "out" / line["file"]).resolve() == row.file
        assert (line["lift.gain_db"], line["sound_key"]) == (str(row.settings["lift.gain_db"]), row.key)


def test_a_rerun_does_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sketches = [folder / "set.toml", folder / "plain.toml", folder / ".." / folder.name / "plain.toml"]
    first = run_batch(sketches, takes(folder), folder / "out", room=None)
    assert len(first.rows) == 9  # a file that is named twice counts once
    before = {p: (p.stat().st_mtime_ns, p.stat().st_ino) for p in (folder / "out").rglob("*")}
    counts = kept(monkeypatch)
    again = run_batch(sketches, takes(folder), folder / "out")
    assert (again.rendered, again.reused, again.block_runs, counts) == (0, 9, 0, {})
    assert [row.figures for row in again.rows] == [row.figures for row in first.rows]
    assert {p: (p.stat().st_mtime_ns, p.stat().st_ino) for p in (folder / "out").rglob("*")} == before


def test_only_what_is_missing_is_made(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = run_batch([folder / "plain.toml"], takes(folder)[:2], folder / "out")
    counts = kept(monkeypatch)
    assert run_batch([folder / "plain.toml"], takes(folder), folder / "out").rendered == 1
    victims = [row for row in first.rows if row.file is not None and row.key is not None]
    assert victims[0].file is not None
    victims[0].file.write_bytes(victims[0].file.read_bytes()[:-5])  # a disk that lost the end of a sound
    (folder / "out" / "store" / f"{victims[1].key}.json").write_text("{")
    again = run_batch([folder / "plain.toml"], takes(folder), folder / "out")
    assert [row.made for row in again.rows] == [True, True, False]
    assert sorted(counts.values()) == [1, 1, 1]
    assert [row.figures for row in again.rows[:2]] == [row.figures for row in first.rows]
    figures_only = run_batch([folder / "plain.toml"], takes(folder), folder / "out", audio=False)
    assert (figures_only.rendered, [row.file for row in figures_only.rows]) == (0, [None, None, None])
    (folder / "plain.toml").write_text(PLAIN.replace("-6", "-7"))
    assert run_batch([folder / "plain.toml"], takes(folder), folder / "out", audio=False).rendered == 3
    assert len(list((folder / "out" / "audio").iterdir())) == 3


KILLED = """
import os, signal, sys
from pathlib import Path
import chainsim.audio.wav as wav
from chainsim.batch.matrix.batching import run_batch
from chainsim.batch.results.store import ResultStore
from tests.batch.matrix.test_batching import VARY, takes

owner, name, at = {"keep": (ResultStore, "keep", 6), "write": (wav.WavWriter, "write", 7)}[sys.argv[2]]
method, calls = getattr(owner, name), []

def deadly(*arguments, **more):
    calls.append(1)
    if len(calls) == at:
        os.kill(os.getpid(), signal.SIGKILL)
    return method(*arguments, **more)

setattr(owner, name, deadly)
folder = Path(sys.argv[1])
run_batch([folder / "set.toml"], takes(folder), folder / "out", vary=VARY, threads=1)
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGKILL")
@pytest.mark.parametrize(("where", "done"), [("keep", 5), ("write", 4)])
def test_a_killed_run_goes_on_where_it_was(
    where: str, done: int, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twelve sounds in three tasks of four; the second dies while it keeps its second sound, or writes its third."""
    code = subprocess.run([sys.executable, "-c", KILLED, folder, where], cwd=Path(__file__).parents[3]).returncode
    assert code == -signal.SIGKILL
    assert not (folder / "out" / "results.csv").exists()
    there = {p.stem for p in (folder / "out" / "store").glob("*.json")} - {"store"}
    assert len(there) == done
    counts = kept(monkeypatch)
    batch = run_batch([folder / "set.toml"], takes(folder), folder / "out", vary=VARY)
    assert (batch.rendered, batch.reused, batch.failed) == (12 - done, done, 0)
    assert there.isdisjoint(counts)
    assert set(counts.values()) == {1}
    whole = run_batch([folder / "set.toml"], takes(folder), folder / "whole", vary=VARY)
    assert whole.rendered == 12
    assert content(folder / "out") == content(folder / "whole")


def test_a_full_disk_ends_the_run_and_what_was_made_stays(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run_batch([folder / "plain.toml"], takes(folder)[:1], folder / "out")
    before = content(folder / "out")

    def full(writer: WavWriter, samples: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(WavWriter, "write", full)
        with pytest.raises(StorageError) as raised:
            run_batch([folder / "plain.toml"], takes(folder), folder / "out")
    assert str(raised.value).endswith(
        ": cannot be written: No space left on device; 0 of 2 sounds are there: make room, and the same command goes"
        " on from there"
    )
    assert content(folder / "out") == before
    assert not list((folder / "out").rglob("*.part"))
    again = run_batch([folder / "plain.toml"], takes(folder), folder / "out")
    assert (again.rendered, again.reused) == (2, 1)


def test_an_unreadable_take_among_many_is_told_once(folder: Path) -> None:
    (folder / "take_cut.wav").write_bytes(b"RIFF\x10\0\0\0WAVE")
    bad = soundfile.read(takes(folder)[0])[0]
    bad[800] = np.nan
    soundfile.write(folder / "take_nan.wav", bad, FS, subtype="FLOAT")
    batch = run_batch([folder / "set.toml"], [*takes(folder), folder / "take_gone.wav"], folder / "out")
    assert (batch.rendered, batch.failed, len(batch.rows)) == (6, 6, 12)
    cut, nan, gone = (str(folder / f"take_{what}.wav") for what in ("cut", "nan", "gone"))
    assert sorted(batch.errors) == sorted(
        [
            f"{cut}: cannot be read as sound: its header is damaged or cut off; WAV, FLAC, OGG, MP3 and AIFF can",
            f"{gone}: no such file",
            f"{nan}: the sample at 0.100000 s, channel 1, is nan: not a finite number",
        ]
    )
    table = json.loads((folder / "out" / "results.json").read_text())["rows"]
    assert {row["take"] for row in table if row["error"]} == {cut, nan, gone}
    assert all(
        (row["error"] is None) == (row["true_peak_dbtp"] is not None) == (row["file"] is not None) for row in table
    )
    assert not list((folder / "out").rglob("*.part"))


def test_a_chain_that_cannot_be_built_is_told_with_its_patch(folder: Path) -> None:
    # 0.45 of the sample rate is 3600 Hz
    text = SET.replace("freq_hz = 2000", "freq_hz = 3999")
    (folder / "set.toml").write_text(text)
    batch = run_batch([folder / "set.toml"], takes(folder), folder / "out")
    assert (batch.rendered, batch.failed, len(batch.errors)) == (3, 3, 1)
    assert batch.errors[0].startswith("set.toml: patches.=loud/\\x1b[1m: ")
    assert "3999" in batch.errors[0]


def test_a_sketch_as_written_counts_where_it_has_cues_or_no_patches(folder: Path) -> None:
    (folder / "cues.toml").write_text(SET + '[[cues]]\nat_s = 0.1\npatch = "soft"\n')
    sketches = [folder / "cues.toml", folder / "plain.toml", load_sketch(folder / "set.toml").alone("soft")]
    batch = run_batch(sketches, takes(folder)[:1], folder / "out")
    assert [(row.sketch, row.patch) for row in batch.rows] == [
        (str(folder / "cues.toml"), None),
        (str(folder / "cues.toml"), "soft"),
        (str(folder / "cues.toml"), "=loud/\x1b[1m"),
        (str(folder / "plain.toml"), None),
        ("Lantern walk", "soft"),
    ]
    assert batch.failed == 0


def test_in_a_room_it_is_another_sound(folder: Path) -> None:
    batches = [
        run_batch([folder / "set.toml"], takes(folder)[:1], folder / "out", room=room) for room in (None, "hall")
    ]
    assert [batch.rendered for batch in batches] == [2, 2]
    assert [row.room for row in batches[1].rows] == ["hall", "hall"]


def test_equal_sounds_under_two_names_are_made_once(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (folder / "copy.toml").write_text(PLAIN)
    (folder / "take_copy.wav").write_bytes((folder / "take0.wav").read_bytes())
    counts = kept(monkeypatch)
    own = [folder / "take0.wav", folder / "take_copy.wav"]
    batch = run_batch([folder / "plain.toml", folder / "copy.toml"], own, folder / "out")
    assert (len(batch.rows), sum(counts.values()), batch.failed) == (4, 1, 0)
    assert (batch.rendered, batch.reused) == (1, 0)
    assert len({row.file for row in batch.rows}) == 1
    again = run_batch([folder / "plain.toml", folder / "copy.toml"], own, folder / "out")
    assert (again.rendered, again.reused, len(again.rows)) == (0, 1, 4)


def test_what_is_wrong_with_two_takes_of_equal_bytes_is_told_of_each(folder: Path) -> None:
    bad = np.full(800, np.nan)
    own = [folder / "one.wav", folder / "two.wav"]
    for path in own:
        soundfile.write(path, bad, FS, subtype="FLOAT")
    batch = run_batch([folder / "plain.toml"], own, folder / "out")
    said = "the sample at 0.000000 s, channel 1, is nan: not a finite number"
    assert [row.error for row in batch.rows] == [f"{path}: {said}" for path in own]
    assert batch.failed == 1


def test_of_a_renamed_take_the_file_that_is_there_is_used(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (first,) = run_batch([folder / "plain.toml"], takes(folder)[:1], folder / "out").rows
    (folder / "take0.wav").rename(folder / "encore.wav")
    counts = kept(monkeypatch)
    (again,) = run_batch([folder / "plain.toml"], [folder / "encore.wav"], folder / "out").rows
    assert (again.file, again.made, counts) == (first.file, False, {})
    assert first.file is not None
    size = first.file.stat().st_size
    first.file.write_bytes(bytes(size))  # as long, and another sound
    os.utime(first.file, (time.time() + 60,) * 2)
    (mended,) = run_batch([folder / "plain.toml"], [folder / "encore.wav"], folder / "out").rows
    assert (mended.made, counts) == (True, {first.key: 1})
    assert mended.file is not None
    assert mended.file.name.startswith("plain, encore, ")
    assert soundfile.info(mended.file).frames > 0


def test_a_new_title_or_comment_makes_nothing_new(folder: Path) -> None:
    first = run_batch([folder / "set.toml"], takes(folder)[:1], folder / "out")
    text = SET.replace("Lantern walk", "Harbour walk") + "# by the quay\n"
    (folder / "set.toml").write_text(text)
    again = run_batch([folder / "set.toml"], takes(folder)[:1], folder / "out")
    assert (first.rendered, again.rendered, again.reused) == (2, 0, 2)
    assert {row.sketch_sha256 for row in again.rows}.isdisjoint(row.sketch_sha256 for row in first.rows)


def test_a_take_that_changes_after_it_was_looked_at_is_told(folder: Path) -> None:
    plan = plan_batch([folder / "plain.toml"], takes(folder)[:2], folder / "out")
    take(folder, "take1.wav", 700.0)
    batch = run_plan(plan)
    assert (batch.rendered, batch.failed) == (1, 1)
    assert batch.errors == (f"{folder / 'take1.wav'}: changed while it was rendered; run the same command again",)
    again = run_batch([folder / "plain.toml"], takes(folder)[:2], folder / "out")
    assert (again.rendered, again.reused, again.failed) == (1, 1, 0)


def test_warnings_are_told_with_what_they_are_about_and_again_in_a_rerun(folder: Path) -> None:
    # 0.45 of 8 kHz is 3600 Hz; take0 ends at 0.2 s, and the longer one is cut off behind the cue
    high = '[blocks.bell]\ntype = "ring_modulator"\nfreq_hz = 3900\n[patches.low]\nchain = []\n'
    cue = '[[cues]]\nat_s = 0.3\npatch = "low"\n'
    (folder / "bell.toml").write_text('chain = ["bell"]\n' + high + cue)
    long = take(folder, "long.wav", seconds=0.5)
    long.write_bytes(long.read_bytes()[:-3200])
    for _ in range(2):
        batch = run_batch([folder / "bell.toml", folder / "plain.toml"], [folder / "take0.wav", long], folder / "out")
        assert sorted(batch.warnings) == sorted(
            [
                f"{long}: is cut off or damaged: 0.10 s of 0.50 s are missing; the 0.40 s that are there are used",
                'bell.toml, over take0.wav: the cue "patch low" at 0.3 s comes after the take, which lasts 0.2 s',
                "bell.toml: bell.freq_hz: limited to 0.45 of the sample rate",
            ]
        )
    table = json.loads((folder / "out" / "results.json").read_text())["rows"]
    assert [len(row["warnings"]) for row in table] == [2, 2, 0, 1, 0, 1]  # bell.toml, its patch low, plain.toml


def test_what_no_file_can_hold_fails_with_and_without_one(folder: Path) -> None:
    # 34 times 24 dB: 816 dB, where 32-bit floats end at 770 dB
    names = [f"up_{i}" for i in range(34)]
    blocks = "".join(f'[blocks.{name}]\ntype = "gain"\ngain_db = 24\n' for name in names)
    (folder / "loud.toml").write_text(f"chain = {names}\n{blocks}")
    for audio in (False, True):
        batch = run_batch([folder / "loud.toml"], takes(folder)[:1], folder / "out", audio=audio)
        (error,) = batch.errors
        assert error.startswith("loud.toml: the sound at ")
        assert error.endswith(" s is not a finite number of 32 bits; nothing was kept")


@pytest.mark.parametrize(
    ("more", "error", "said"),
    [
        ({"vary": {"lift.gain_db": [999]}}, SketchError, "set.toml, varied: blocks.lift.gain_db = 999 dB, allowed"),
        ({"vary": {"lift.gain_db": [0]}, "sketches": 2}, SketchError, 'plain.toml: vary lift.gain_db: no block "lift"'),
        ({"room": "cellar", "sketches": 2}, SketchError, 'plain.toml: no room "cellar"; the sketch has none'),
        ({"vary": {"tempo_bpm": range(20, 400), "lift.gain_db": range(3)}}, SettingError, "6,840 sounds, allowed"),
        ({"takes": 0}, SettingError, "0 sounds"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_leaves_no_folder(
    more: dict[str, Any], error: type[Exception], said: str, folder: Path
) -> None:
    sketches = [folder / "set.toml", folder / "plain.toml"][: more.pop("sketches", 1)]
    with pytest.raises(error, match=said.replace(".", r"\.")):
        run_batch(sketches, takes(folder)[: more.pop("takes", 3)], folder / "out", **more)
    assert not (folder / "out").exists()


def test_a_store_of_another_version_is_refused(folder: Path) -> None:
    run_batch([folder / "plain.toml"], takes(folder), folder / "out")
    mark = folder / "out" / "store" / "store.json"
    mark.write_text(json.dumps({"format": 1, "version": "0.0.9+0123456789abcdef"}))
    before = content(folder / "out")
    with pytest.raises(StoreError, match=r"holds results of chainsim 0\.0\.9\+0123456789abcdef"):
        run_batch([folder / "plain.toml"], takes(folder), folder / "out")
    assert content(folder / "out") == before
    with pytest.raises(AudioError):
        run_batch([folder / "plain.toml"], takes(folder), folder / "plain.toml")


def test_the_report_is_plain(folder: Path) -> None:
    batch = run_batch([folder / "plain.toml"], takes(folder)[:1], folder / "out", audio=False)
    found = json.loads(json_text(batch.to_dict()))
    row = found.pop("rows")[0]
    assert found == {
        "folder": str(folder / "out"),
        "rendered": 1,
        "reused": 0,
        "failed": 0,
        "errors": [],
        "block_runs": 1,
        "single_block_runs": 1,
    }
    assert (row["file"], row["rests_dbfs"], row["sample_rate_hz"]) == (None, None, FS)  # a take without a rest
