"""`chainsim measure --chain` from the outside: the page, the table of a set, the JSON, the picture."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import complaint, names, ran, sketch_file

SET = """
title = "Tar and twine"
chain = ["hush", "bow"]
[blocks.hush]
type = "noise_gate"
threshold_db = -45
[blocks.bow]
type = "gain"
[patches.stern.blocks.bow]
gain_db = -6
[rooms.attic.blocks.hush]
engaged = false
"""


def test_a_page_for_every_patch_and_a_table_of_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--chain", sketch_file(tmp_path, SET))
    assert run.code == 0
    lines = run.out.splitlines()
    assert lines[0] == "Tar and twine: test signals of 48000 Hz, one channel in"
    assert lines.index("as written") < lines.index("stern")
    assert "  gate hush: opens at -44.9 dBFS, closes at -50.9 dBFS (peaks of the sine), closed -60.0 dB" in lines
    assert "  with nothing in: silence, 20 Hz to 20 kHz" in lines
    out = next(line for line in lines[lines.index("stern") :] if line.startswith("    out"))
    assert out.split()[-1] == "-6.0"
    head = next(i for i, line in enumerate(lines) if line.startswith("patch "))
    assert [line.split()[0] for line in lines[head + 1 : head + 3]] == ["as", "stern"]
    most = (
        "loudest: as written for broadband sound (+0.0 dB), as written for the sine (+0.0 dB); largest gain: as written"
    )
    assert lines[head + 4].startswith(most)
    assert "no promise" in run.out
    assert "keep a hand on the fader" in run.out
    assert all(len(line) <= 120 for line in lines)
    assert names(tmp_path) == ["sketch.toml"]


def test_one_patch_in_one_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--chain", sketch_file(tmp_path, SET), "--patch", "stern", "--room", "attic")
    assert run.out.startswith("Tar and twine (room: attic)")
    assert "as written" not in run.out
    assert "  gate" not in run.out
    assert "\npatch " not in run.out


def test_json_and_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "it.png"
    run = ran(capsys, "measure", "--chain", sketch_file(tmp_path, SET), "--json", "--plot", picture)
    told = json.loads(run.out)
    written, stern = told["patches"]
    assert (written["name"], stern["name"]) == ("as written", "stern")
    bands = stern["response"]["third_octaves"]
    assert (bands[17]["freq_hz"], round(bands[17]["gain_db"], 6)) == (1000.0, -6.0)
    assert bands[17]["stray_db"] is None
    assert stern["noise"]["rms_dbfs"] is None
    assert [(gate["name"], gate["openings"]) for gate in stern["gates"]] == [("hush", 1)]
    assert [step["in_dbfs"] for step in stern["steps"]][-1] == 0.0
    assert stern["latency"]["noise_ms"] == pytest.approx(0.0, abs=1e-3)
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert names(tmp_path) == ["it.png", "sketch.toml"]


BAD = {
    "no sketch": (("--chain",), "--chain takes one file, SKETCH; found 0"),
    "two sketches": (("--chain", "sketch.toml", "sketch.toml"), "found 2"),
    "no such file": (("--chain", "none.toml"), "none.toml: cannot be read"),
    "no such patch": (("--chain", "sketch.toml", "--patch", "sterm"), 'no patch "sterm"; did you mean "stern"?'),
    "no such room": (("--chain", "sketch.toml", "--room", "attik"), 'no room "attik"; did you mean "attic"?'),
    "not with harmonies": (("--chain", "--harmony", "sketch.toml"), "--harmony and --chain do not go together"),
    "no impulse": (("--chain", "sketch.toml", "--impulse"), "--impulse does not go with --chain"),
    "no patch of files": (("take.wav", "--patch", "stern"), "--patch does not go with files"),
    "a plot over the sketch": (("--chain", "plain.toml", "--plot", "./plain.toml"), "plain.toml"),
    "a plot of no format": (("--chain", "plain.toml", "--plot", "a.bmp"), 'a.bmp: cannot draw ".bmp" files'),
}


@pytest.mark.parametrize(("arguments", "message"), BAD.values(), ids=BAD)
def test_what_is_wrong_gets_one_line(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[object, ...],
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    sketch_file(tmp_path, SET)
    sketch_file(tmp_path, 'chain = ["gain"]', "plain.toml")
    assert message in complaint(ran(capsys, "measure", *arguments))
    assert names(tmp_path) == ["plain.toml", "sketch.toml"]
