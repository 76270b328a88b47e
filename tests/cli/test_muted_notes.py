"""Sets in `track`: what the cues of a sketch mute is marked."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest

from tests.cli.running import notes, ran, sketch_file, take_file


@pytest.fixture
def muted(tmp_path: Path) -> tuple[object, ...]:
    """Four notes of 220 Hz, of which the second and the last are muted."""
    text = "chain = []\n" + "".join(
        f"[[cues]]\nat_s = {at_s}\nmute = {on}\n" for at_s, on in ((1.0, "true"), (2.0, "false"), (3.0, "true"))
    )
    take = take_file(tmp_path, notes(16_000), 16_000)
    return ("track", take, "--low-hz", "100", "--high-hz", "900", "--sketch", sketch_file(tmp_path, text))


def test_the_tuner_marks_what_was_muted(muted: tuple[object, ...], capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, *muted, "--tuner")
    assert run.code == 0
    rows = [line.split() for line in run.out.splitlines() if re.match(r"\d+\.\d\d +A3 ", line)]
    seen = {(math.floor(float(row[0])), row[-1] == "muted") for row in rows}
    assert seen == {(0, False), (1, True), (2, False), (3, True)}


def test_the_tuner_has_no_column_where_nothing_is_muted(
    muted: tuple[object, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = ran(capsys, *muted[:-1], sketch_file(tmp_path, "chain = []"), "--tuner")
    assert "A3" in run.out
    assert "muted" not in run.out
    assert "feed" not in run.out


def test_mutes_as_json(muted: tuple[object, ...], capsys: pytest.CaptureFixture[str]) -> None:
    told = json.loads(ran(capsys, *muted, "--json").out)
    readings = told["tuning"]["readings"]
    assert {math.floor(r["time_s"]) for r in readings} == {0, 1, 2, 3}
    assert all(r["muted"] == (1.0 <= r["time_s"] < 2.0 or r["time_s"] >= 3.0) for r in readings)
    assert len(told["notes"]) == 4  # muted or not, they were played
