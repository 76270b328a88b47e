"""`chainsim orders`: what it tells, what it leaves in the folder, and how it ends."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.cli.running import Ran, complaint, names, notes, ran, sketch_file, take_file

SKETCH = """title = "Quay"
chain = ["torn", "lift", "late"]
[blocks.torn]
type = "drive"
[blocks.lift]
type = "gain"
gain_db = 3
[blocks.late]
type = "delay"
time_ms = 60
[patches.bare]
chain = ["lift", "late"]
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    sketch_file(tmp_path, SKETCH)
    take_file(tmp_path, notes(seconds=0.8), name="solo.wav")
    return tmp_path


def orders(capsys: pytest.CaptureFixture[str], *arguments: object) -> Ran:
    return ran(capsys, "orders", "sketch.toml", "solo.wav", "-o", "out", *arguments)


def warnings(run: Ran) -> list[str]:
    """What stderr says, but for the limits of a low sample rate."""
    return [line for line in run.err.splitlines() if "sample rate" not in line and not line.startswith("compiling")]


def test_groups_and_a_rerun(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = orders(capsys, "--groups", "2")
    lines = run.out.splitlines()
    assert (run.code, warnings(run)) == (0, [])
    assert lines[:3] == [
        "Quay: 6 orders, over solo.wav",
        "15 block runs instead of 18",  # a tree of three levels: 3 + 6 + 6
        "the chain as written is tried, patches play no part; --patch NAME tries one of them",
    ]
    # A gain and an echo are linear and time-invariant: they commute before the drive and behind it, 2 + 2 of 6 orders.
    assert lines[3].startswith("4 different sounds: the others null against one of these (-")
    assert lines[5].startswith("2 groups, as --groups asks; within one no two orders are more than ")
    assert "1  torn > lift > late (as written)" in lines
    assert lines[-1] == "out/orders.csv, orders.json; 2 sounds to hear in out"
    heard = [name for name in names(folder / "out") if name[0] in "12"]
    assert [name.rpartition(", ")[0] or name for name in heard] == [
        "1 torn - lift - late, solo", "1 torn - lift - late.toml",
        "2 lift - late - torn, solo", "2 lift - late - torn.toml",
    ]  # fmt: skip
    assert names(folder / "out")[4:] == ["orders.csv", "orders.json", "store"]
    with (folder / "out" / "orders.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["order"] for row in rows[:2]] == ["torn > lift > late", "torn > late > lift"]
    assert {Path(row["file"]).name for row in rows if row["file"]} < set(heard)
    again = orders(capsys, "--groups", "2")
    assert (again.code, again.err) == (0, "")
    assert again.out.splitlines()[1] == "6 of 6 sounds were there"
    assert again.out.splitlines()[4:] == lines[4:]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--groups", "1"], "One group, as --groups asks: no two of its orders are more than "),
        (["--threshold", "1000"], "One group: no two of its orders are more than "),
        (["--patch", "bare"], "All sound alike: no two are more than 0.0 steps apart, of which 1 is just audible."),
        (["--first", "torn,lift"], "Only one order: there is none to compare it with."),
    ],
)
def test_one_group_has_a_reason(
    arguments: list[str], said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = orders(capsys, *arguments)
    (line,) = [line for line in run.out.splitlines() if line.startswith(said)]
    assert run.code == 0
    assert line.endswith(".")


def test_a_swap_over_two_takes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take_file(folder, 0.3 * notes(seconds=0.6), name="soft.wav")
    run = orders(capsys, "soft.wav", "--swap", "torn,late")
    lines = run.out.splitlines()
    assert run.code == 0
    assert lines[0] == "the chain as written is tried, patches play no part; --patch NAME tries one of them"
    assert "steps apart on the take where they differ most" in lines[1]
    assert "plainly different" in lines[1]
    assert [line.partition("  ")[0] for line in lines[4:8]] == [
        f"{order} over {take}"
        for order in ("torn > lift > late (as written)", "late > lift > torn")
        for take in ("solo.wav", "soft.wav")
    ]
    assert lines[-1] == "out/orders.csv, orders.json; 4 sounds to hear in out"
    same = orders(capsys, "--swap", "lift,late", "--patch", "bare")
    assert same.out.startswith("The same sound: ")
    (earlier,) = [line for line in warnings(same) if "earlier" in line]
    assert "6 of the .wav and .toml files there are from earlier commands" in earlier  # 4 sounds, 2 sketches


def test_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(orders(capsys, "--swap", "torn,lift", "--json").out)
    assert [order["name"] for order in found["orders"]] == ["torn > lift", "lift > torn"]
    assert found["distances_steps"][0][1] == found["distances_steps"][1][0] > 1.0
    assert [Path(group["files"][0]).is_file() for group in found["groups"]] == [True, True]
    assert found["failed"] == []


def test_unreadable_takes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "cut.wav").write_bytes(b"RIFF")
    some = orders(capsys, "cut.wav", "--swap", "torn,lift")
    assert complaint(some, 1).startswith("cut.wav: cannot be read as sound")
    assert "steps apart, of which 1" in some.out
    none = ran(capsys, "orders", "sketch.toml", "cut.wav", "-o", "none", "--swap", "torn,lift")
    assert complaint(none, 2).startswith("cut.wav: cannot be read as sound")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--swap", "torn"], "--swap torn: write two blocks, such as --swap drive,wah"),
        (["--swap", "torn,torn"], "--swap torn,torn: write two blocks"),
        (["--swap", "torn,lift", "--first", "late"], "--swap names all there is to try"),
        (["--swap", "torn,lift", "--groups", "2"], "--swap makes no groups of its two orders"),
        (["--swap", "torn,lift", "--threshold", "2"], "it goes without --threshold and --groups"),
        (["--before", "torn"], "--before torn: write two blocks"),
        (["--threshold", "nan"], "nan is not a number"),
        (["--loudness", "nan"], "nan is not a number"),
        (["--loudness", "3"], "3.0 is not in the range -60.0<=x<=0.0"),
        (["--threads", "2", "--scheduler", "tcp://127.0.0.1:1"], "--threads is for this machine"),
        (["--move", "torn,torn,lift"], 'sketch.toml: move: "torn" stands there 2 times'),
        (["--move", "torn,lfit"], 'sketch.toml: move: "lfit" is not in the chain; did you mean "lift"?'),
        (["--patch", "bear"], 'no patch "bear"; did you mean "bare"?'),
        (["--sample", "721"], "a sample of 721 orders, allowed 1 ... 720"),
    ],
)
def test_bad_input_is_one_line(
    arguments: list[str], said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said in complaint(orders(capsys, *arguments))
    assert names(folder) == ["sketch.toml", "solo.wav"]


def test_results_stay_away_from_takes(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = names(folder)
    line = complaint(ran(capsys, "orders", "sketch.toml", "solo.wav", "-o", "."))
    assert line == ".: solo.wav lies there, which is sent through; choose another folder for results"
    assert names(folder) == before
    line = complaint(ran(capsys, "orders", "sketch.toml", "solo.wav", "-o", "sketch.toml"))
    assert line == "-o sketch.toml: is a file; name a folder for the results"


def test_sketches_of_groups_find_their_files(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take_file(folder, notes(seconds=0.05), name="pipe.wav")
    sketch_file(
        folder,
        'chain = ["torn", "pipe"]\nblocks.torn.type = "drive"\nblocks.pipe = { type = "convolver", file = "pipe.wav" }',
    )
    assert orders(capsys, "--swap", "torn,pipe").code == 0
    assert (folder / "out" / "pipe.wav").read_bytes() == (folder / "pipe.wav").read_bytes()
    for path in (folder / "out").glob("*.toml"):
        assert ran(capsys, "check", path).code == 0
    (folder / "out" / "pipe.wav").write_bytes(b"mine")
    assert "was left as it is" in orders(capsys, "--swap", "torn,pipe").err
    assert (folder / "out" / "pipe.wav").read_bytes() == b"mine"


def test_a_wrong_name_in_a_swap_is_told_as_that(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert complaint(orders(capsys, "--swap", "torn,chorus")).startswith(
        'sketch.toml: swap: "chorus" is not in the chain'
    )


def test_a_player_is_told_where_the_written_order_is_and_of_what_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = orders(capsys, "--sample", "4", "--groups", "1")
    assert "(as written)" in run.out or "(the order as written is in it)" in run.out
    assert "This is said of the 4 orders that were tried, not of all 6." in run.out
