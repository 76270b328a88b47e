"""`chainsim batch`: what it says, what it leaves, and the code it ends with."""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path

import pytest

from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file

SET = """
title = "=HYPERLINK(1)"
chain = ["tone", "lift"]
[blocks.tone]
type = "equalizer"
bands = [{ shape = "bell", freq_hz = 800, gain_db = 6 }]
[blocks.lift]
type = "gain"
[patches.soft]
engage = ["lift"]
[patches."-loud"]
engage = ["tone", "lift"]
[rooms.hall.blocks.tone]
engaged = false
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    sketch_file(tmp_path, SET, "set.toml")
    sketch_file(tmp_path, 'chain = ["gain"]', "plain.toml")
    (tmp_path / "takes").mkdir()
    for name in ("b.wav", "a.wav"):
        take_file(tmp_path / "takes", notes(seconds=0.2) * (1 if name == "a.wav" else 0.5), name=name)
    (tmp_path / "takes" / "notes.txt").write_text("no take")
    (tmp_path / "takes" / ".hidden.wav").write_bytes(b"x")
    return tmp_path


def table(folder: Path) -> list[dict[str, str]]:
    with (folder / "results.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_batch_and_its_rerun(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("batch", "set.toml", "plain.toml", "--takes", "takes", "-o", "out")
    run = ran(capsys, *arguments)
    assert run.code == 0
    # Each take: "tone" with "lift" behind it, and one block for both "lift" alone and the plain sketch's equal gain
    assert (
        run.out == "6 sounds: 6 made; 6 block runs instead of 8\nout/results.csv, results.json; sounds in out/audio\n"
    )
    assert [(row["sketch"], row["patch"], row["take"]) for row in table(folder / "out")] == [
        ("set.toml", "soft", "takes/a.wav"),
        ("set.toml", "soft", "takes/b.wav"),
        ("set.toml", "'-loud", "takes/a.wav"),
        ("set.toml", "'-loud", "takes/b.wav"),
        ("plain.toml", "", "takes/a.wav"),
        ("plain.toml", "", "takes/b.wav"),
    ]
    assert names(folder / "out") == ["audio", "results.csv", "results.json", "store"]
    assert [name.rpartition(", ")[0] for name in names(folder / "out" / "audio")] == [
        "plain, a", "plain, b", "set, -loud, a", "set, -loud, b", "set, soft, a", "set, soft, b",
    ]  # fmt: skip
    again = ran(capsys, *arguments)
    assert (again.code, again.err) == (0, "")
    assert again.out.splitlines()[0] == "6 sounds: 6 of 6 were there"
    more = ran(capsys, *arguments, "--room", "hall")
    assert more.code == 2
    assert "plain.toml: no room" in complaint(more)


def test_one_sound_under_two_names_is_one_sound(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "takes" / "b.wav").write_bytes((folder / "takes" / "a.wav").read_bytes())
    arguments = ("batch", "plain.toml", "--takes", "takes", "-o", "out")
    assert ran(capsys, *arguments).out.startswith("1 sound in 2 rows: 1 made\n")
    assert ran(capsys, *arguments).out.startswith("1 sound in 2 rows: 1 of 1 were there\n")


def test_values_and_their_block_runs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("batch", "set.toml", "--take", "takes/a.wav", "-o", "out", "--room", "hall", "--no-audio")
    run = ran(capsys, *arguments, "--vary", "lift.gain_db=-3,off", "--vary", "tone.engaged=true", "--json")
    assert run.code == 0
    found = json.loads(run.out)
    # In the hall there is no tone, so both patches are the same two blocks
    assert (found["rendered"], found["block_runs"], found["single_block_runs"]) == (4, 2, 4)
    assert [(row["lift.gain_db"], row["patch"], row["integrated_lufs"] is None) for row in found["rows"]] == [
        (-3, "soft", True), (-3, "-loud", True), ("off", "soft", True), ("off", "-loud", True),
    ]  # fmt: skip
    assert names(folder / "out") == ["results.csv", "results.json", "store"]
    assert [line for line in run.err.splitlines() if "tone" in line] == []
    told = ran(capsys, *arguments, "--vary", "tone.gain_db=-3,1")
    assert [line for line in told.err.splitlines() if "no value" in line] == [
        "warning: set.toml: patches.soft: no value of tone.gain_db changes anything there",
        "warning: set.toml: patches.-loud: no value of tone.gain_db changes anything there",
    ]


def test_some_and_all_may_fail(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "takes" / "c.wav").write_bytes(b"RIFF")
    run = ran(capsys, "batch", "set.toml", "--takes", "takes", "-o", "out")
    assert complaint(run, 1).startswith(f"takes{os.sep}c.wav: cannot be read as sound")
    assert run.out.splitlines()[0] == "6 sounds: 4 made, 2 failed"
    assert [bool(row["error"]) for row in table(folder / "out")] == [False, False, True] * 2
    again = ran(capsys, "batch", "set.toml", "--takes", "takes", "-o", "out")
    assert again.out.splitlines()[0] == "6 sounds: 0 made, 4 were there, 2 failed"
    none = ran(capsys, "batch", "set.toml", "--take", "takes/c.wav", "-o", "none")
    assert complaint(none, 2).startswith(f"takes{os.sep}c.wav: cannot be read as sound")


TAKES = ("--takes", "takes")
MANY = ("--vary", f"tempo_bpm={','.join(map(str, range(20, 400)))}", "--vary", "lift.gain_db=1,2,3,4,5,6,7,8,9")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["set.toml"], "say what is sent through: --takes DIR, or --take FILE"),
        (["set.toml", "--takes", "none"], "none: No such file or directory; --takes names a folder"),
        (["set.toml", "--takes", "out"], "out: holds no audio files"),
        (["set.toml", *TAKES, "--vary", "lift"], "vary lift: write it as BLOCK.SETTING=VALUE,VALUE"),
        (["set.toml", *TAKES, "--vary", "lift.gain_db=1", "--vary", "lift.gain_db=2"], "stands there twice"),
        (["set.toml", *TAKES, "--vary", "lift.gain_db=1,1"], "1 stands there 2 times"),
        (["set.toml", *TAKES, "--vary", "lift.gain_db=loud"], "blocks.lift.gain_db = 'loud', allowed"),
        (["set.toml", *TAKES, "--vary", "lfit.gain_db=1"], 'no block "lfit" in its chain; did you mean "lift"?'),
        (["set.toml", "none.toml", *TAKES], "none.toml: cannot be read: No such file"),
        (["set.toml", *TAKES, "--room", "hal"], 'set.toml: no room "hal"; did you mean "hall"?'),
        (["set.toml", *TAKES, "--threads", "2", "--scheduler", "tcp://127.0.0.1:1"], "--threads is for this machine"),
        (["set.toml", *TAKES, *MANY], "13,680 sounds, allowed 1 ... 5,000 in one batch"),
    ],
)
def test_bad_input_is_one_line(
    arguments: list[str], said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "out").mkdir()
    assert said in complaint(ran(capsys, "batch", *arguments, "-o", "out"))
    assert names(folder / "out") == []


def test_where_the_sounds_go_is_no_folder_of_takes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran(capsys, "batch", "plain.toml", "--takes", "takes", "-o", "out")
    assert "would be takes next time" in complaint(
        ran(capsys, "batch", "plain.toml", "--takes", "out/audio", "-o", "out")
    )


def test_a_store_of_another_version_and_a_file_for_a_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran(capsys, "batch", "plain.toml", "--takes", "takes", "-o", "out")
    mark = folder / "out" / "store" / "store.json"
    mark.write_text(mark.read_text().replace('"version": "', '"version": "9.'))
    line = complaint(ran(capsys, "batch", "plain.toml", "--takes", "takes", "-o", "out"))
    assert "out/store: holds results of chainsim 9." in line
    assert line.endswith("choose another folder; nothing was changed")
    line = complaint(ran(capsys, "batch", "plain.toml", "--takes", "takes", "-o", "set.toml"))
    assert line == "-o set.toml: is a file; name a folder for the results"
