"""Sets in `check`: the walk through the cues, rooms, and cues that contradict each other."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.lantern_walk import SET, render, set_folder
from tests.cli.running import complaint, notes, ran, sketch_file, take_file


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return set_folder(tmp_path)


def walk_of(text: str) -> list[str]:
    """The lines of the walk, as they are printed."""
    lines = text.splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("Under one foot"))
    return lines[first : first + lines[first:].index("")]


def test_check_walks_through_the_cues(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: soft is A, loud is B; the last patch is on the other bank: UP and A, 0.5 s after B, where two presses of
    two other switches need 2 x 0.45 s, and A, which can also be held, acts when it is let go, after 0.12 s. Mute is
    held for 0.6 s, and there are 1.5 s.
    """
    run = ran(capsys, "check", folder / "sketch.toml")
    assert run.code == 0
    head, *steps = walk_of(run.out)
    assert head == "Under one foot: 4 cues with 5 presses, as few as it can in the time"
    assert steps == [
        "  0.5 s: patch soft: A",
        "  bar 1:3: patch loud: B",
        "! bar 1:4: two presses in 0.5 s; this foot needs 1.02 s (patch last act / quay: UP (ahead), A)",
        "  3 s: mute on: hold A",
        "1 change is not for one foot (!)",
        "Muted from 3.0 s on",
    ]
    assert "silence is one press away from every patch" in run.out
    assert "! the plain horn is 2 presses away from 2 patches, such as soft (UP, A)" in run.out


def test_the_walk_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = json.loads(ran(capsys, "check", folder / "sketch.toml", "--json").out)["sketch"]
    assert [(c["kind"], c["name"], c["at_s"], c["bar"]) for c in told["cues"]] == [
        ("patch", "soft", 0.5, ""),
        ("patch", "loud", 1.0, "1:3"),
        ("patch", "last act / quay", 1.5, "1:4"),
        ("mute", "", 3.0, ""),
    ]
    steps = told["walk"]["steps"]
    assert [step["gestures"] for step in steps] == [["A"], ["B"], ["UP", "A"], ["hold A"]]
    assert [step["verdict"] for step in steps] == ["possible", "possible", "too fast", "possible"]
    assert [(r["sound"], r["presses"]) for r in told["refuges"]] == [("the plain horn", 2), ("silence", 1)]
    assert told["room"] is None


def test_check_tells_of_a_room(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "check", folder / "sketch.toml", "--room", "chapel")
    assert run.code == 0
    assert run.out.startswith("Lantern walk (room: chapel)\nfor takes of 48000 Hz, mono; mono out\n")
    assert "input ─► tone ─► (drive) ─► out" in run.out  # no patch brings back what the room leaves out
    assert run.out.count("Not engaged: ") == run.out.count("drive\n") == 1 + 3
    assert walk_of(run.out) == walk_of(ran(capsys, "check", folder / "sketch.toml").out)  # the board is the same
    assert 'no room "yard"' in complaint(ran(capsys, "check", folder / "sketch.toml", "--room", "yard"))


def test_cues_after_the_take_are_not_walked_and_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take_file(folder, notes(seconds=2.0))
    run = ran(capsys, "check", folder / "sketch.toml", "--take", folder / "take.wav")
    assert run.code == 0
    assert 'the cue "mute on" at 3 s comes after the take, which lasts 2.0 s' in run.out
    assert "  3 s: mute on comes after the end of the take" in walk_of(run.out)
    rendered = ran(capsys, *render(folder, "-o", folder / "o.wav"))
    assert rendered.err.count('the cue "mute on" at 3 s comes after the take') == 1


def test_a_mute_that_nothing_ends_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Held down at 1.0 s, the mute acts at 1.6, and a patch at 2 s keeps it; the take lasts 2.0 s."""
    text = SET[: SET.index("[[cues]]")]
    take_file(folder, notes(seconds=2.0))

    def said(*cues: str, take: bool = False) -> list[str]:
        sketch = sketch_file(folder, text + "".join(f"[[cues]]\n{cue}\n" for cue in cues))
        run = ran(capsys, "check", sketch, *(["--take", folder / "take.wav"] if take else []))
        return [line for line in run.out.splitlines() if line.startswith("Muted")]

    held, soft = 'at_s = 1\nhold = "A"', 'at_s = 1.9\npatch = "soft"'
    assert said(held) == ["Muted from 1.6 s on"]
    assert said(held, soft) == ["Muted from 1.6 s to the last cue and beyond: no cue ends it"]
    assert said(held, soft, take=True) == ["Muted from 1.6 s to the end of the take: no cue in it ends that"]
    ended = "at_s = 2.5\nmute = false"
    assert said(held, soft, ended) == []
    assert said(held, soft, ended, take=True) == ["Muted from 1.6 s to the end of the take: no cue in it ends that"]
    assert said("at_s = 0\nmute = true", "at_s = 1\nmute = false", "at_s = 2\nmute = true", take=True) == []


def test_cues_without_switches_are_listed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = SET[: SET.index("[[switches]]")] + SET[SET.index("[rooms.chapel]") :]
    run = ran(capsys, "check", sketch_file(folder, text))
    assert (
        "Cues: patch soft at 0.5 s, patch loud at bar 1:3, patch last act / quay at bar 1:4, mute on at 3 s" in run.out
    )
    assert "Under one foot" not in run.out


def test_contradicting_cues_are_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(folder, SET + "[[cues]]\nat_s = 3\nmute = false\n")
    line = "cues: mute on and mute off, both at 3 s: the last one counts"
    assert line in ran(capsys, "check", sketch).out
    assert f"warning: {line}" in ran(capsys, *render(folder, "-o", folder / "o.wav")).err
