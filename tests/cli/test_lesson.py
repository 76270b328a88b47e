"""`chainsim lesson`: the list, pages of our lessons and of sketches, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file

CHAIN = """
title = "Hush & <shine>"
chain = ["quiet"]
[blocks.quiet]
type = "gain"
gain_db = -6
[patches.loud]
[patches.loud.blocks.quiet]
gain_db = 6
[patches.none]
engage = []
"""


def test_it_lists_the_lessons_with_what_each_asks(capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "lesson")
    assert told.code == 0
    assert "gate-and-gain " in told.out
    assert told.out.endswith("chainsim lesson NAME -o page.html\n")
    listed = json.loads(ran(capsys, "lesson", "--json").out)
    assert len(listed) >= 8
    assert all(lesson["asks"].endswith("?") and lesson["name"] in told.out for lesson in listed)


def test_a_lesson_of_ours_on_a_take_of_one_s_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = take_file(tmp_path, notes(16_000, noise=1e-3), 16_000)
    run = ran(capsys, "lesson", "noise-adds-up", "--take", take, "--lasts", 3, "-o", tmp_path / "noise.html")
    assert run.code == 0, run.err
    assert run.out.startswith(f"{tmp_path / 'noise.html'}: Noise adds up along a chain, 2 steps, 4 sounds, ")
    page = (tmp_path / "noise.html").read_text(encoding="utf-8")
    assert "3.0\N{NO-BREAK SPACE}s of take.wav" in page
    assert names(tmp_path) == ["noise.html", "take.wav"]


def test_a_walk_through_a_sketch_and_its_patch(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    sketch, take = sketch_file(tmp_path, CHAIN), take_file(tmp_path, notes(16_000), 16_000)
    monkeypatch.setattr("chainsim.cli.lesson.LARGE_MB", 0.01)
    large = ran(capsys, "lesson", sketch, "--take", take, "-o", tmp_path / "walk.html")
    assert "walk.html: a large page, " in large.err
    assert "--lossy makes it a fifth of that" in large.err
    run = ran(capsys, "lesson", sketch, "--take", take, "-o", tmp_path / "walk.html", "--json")
    assert run.code == 0, run.err
    told = json.loads(run.out)
    assert told["title"] == "Hush & <shine>"
    assert told["steps"][0]["claims"][0]["text"].startswith("It is 6.0 LU quieter behind it")
    page = (tmp_path / "walk.html").read_text(encoding="utf-8")
    assert "<shine>" not in page
    assert "Hush &amp; &lt;shine&gt;" in page
    louder = json.loads(ran(capsys, "lesson", sketch, "--take", take, "--patch", "loud", "--json").out)
    assert "6.0 LU louder" in louder["steps"][0]["claims"][0]["text"]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["gate-and-gian", "-o", "x.html"], 'no lesson "gate-and-gian"; did you mean "gate-and-gain"?'),
        (["gate-and-gain"], "-o is missing: the page to write, such as -o lesson.html"),
        (["gate-and-gain", "-o", "x.pdf"], 'x.pdf: cannot write ".pdf" files, allowed .html'),
        (["gate-and-gain", "--patch", "a", "-o", "x.html"], "--patch is for sketches"),
        (["SKETCH", "-o", "x.html"], "--take is missing: a walk through a sketch needs a take to be heard on"),
        (["SKETCH", "--take", "TAKE", "--patch", "lood", "-o", "x.html"], 'no patch "lood"; did you mean "loud"?'),
        (["SKETCH", "--take", "TAKE", "--patch", "none", "-o", "x.html"], "no block is engaged"),
        (["SKETCH", "--take", "TAKE", "--from", "9", "-o", "x.html"], "from 9 s on 0.0 s are left"),
        (
            ["SKETCH", "--take", "SILENCE", "-o", "x.html"],
            "is silent, or quieter than -70 LUFS; name another beginning with --from",
        ),
        (["absent.toml", "--take", "TAKE", "-o", "x.html"], "absent.toml"),
    ],
)
def test_what_it_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, arguments: list[str], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    places = {
        "SKETCH": sketch_file(tmp_path, CHAIN),
        "TAKE": take_file(tmp_path, notes(8_000), name="take.wav"),
        "SILENCE": take_file(tmp_path, np.zeros((16_000, 1)), name="silence.wav"),
    }
    assert told in complaint(ran(capsys, "lesson", *(places.get(a, a) for a in arguments)))
    assert not (tmp_path / "x.html").exists()
