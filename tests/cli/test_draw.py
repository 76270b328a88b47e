"""`chainsim draw`: letters, SVG, PNG, figures on wires, and what it refuses."""

from __future__ import annotations

import math
from pathlib import Path
from xml.etree import ElementTree

import pytest

from chainsim.measure.loudness import measure_loudness
from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file

RATE_HZ = 8_000
SET = """
title = "Ropewalk <b>"
chain = ["gain", { lanes = ["dry", "pan"] }]
[patches.plain]
engage = ["gain"]
[patches.wide]
engage = ["gain", "pan"]
[rooms.chapel.blocks.gain]
engaged = false
"""


def test_it_draws_in_letters(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = ran(capsys, "draw", sketch_file(tmp_path, 'chain = ["gain", "pan"]'))
    assert (told.code, told.err) == (0, "")
    assert told.out.splitlines() == [
        "input ─► gain ─► pan ─► out",
        "",
        "wire   what runs there",
        "input  the horn, as it comes",
        "gain   gain",
        "pan    pan",
        'chainsim render --probe "WIRE=FILE" writes what runs on one',
    ]


def test_a_set_is_drawn_as_written_and_its_patches_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sketch = sketch_file(tmp_path, SET)
    told = ran(capsys, "draw", sketch).out
    assert told.splitlines()[0] == "input ─► gain ─┬───────┬─► sum ─► out"
    assert told.splitlines()[-1] == "drawn as written; --patch draws one of plain, wide"
    patch = ran(capsys, "draw", sketch, "--patch", "plain").out
    assert "(pan)" in patch
    assert patch.startswith("Ropewalk <b>: plain\n\ninput ")
    assert "drawn as written" not in patch
    in_room = ran(capsys, "draw", sketch, "--patch", "wide", "--room", "chapel").out
    assert in_room.startswith("Ropewalk <b>: wide, in chapel\n\n")
    assert "(gain)" in in_room


def test_it_writes_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, SET)
    for name in ("a.svg", "a.PNG", "a.txt"):
        told = ran(capsys, "draw", sketch, "--patch", "wide", "-o", tmp_path / name)
        assert (told.code, told.out) == (0, f"{tmp_path / name}: 2 blocks\n")
    assert ElementTree.parse(tmp_path / "a.svg").getroot().attrib["aria-label"] == "Signal flow of Ropewalk <b>: wide"
    assert "Ropewalk <b>: wide" in (tmp_path / "a.svg").read_text(encoding="utf-8").replace("&lt;", "<").replace(
        "&gt;", ">"
    )
    assert (tmp_path / "a.PNG").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert (tmp_path / "a.txt").read_text(encoding="utf-8") == ran(capsys, "draw", sketch, "--patch", "wide").out
    assert names(tmp_path) == ["a.PNG", "a.svg", "a.txt", "sketch.toml"]


def test_a_take_puts_figures_on_the_wires(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, 'chain = ["gain"]\n[blocks.gain]\ngain_db = -6\nlatency_ms = 5')
    take = take_file(tmp_path, notes(seconds=1.0))
    rows = [line.split() for line in ran(capsys, "draw", sketch, "--take", take).out.splitlines()[-4:-2]]
    assert [row[:3] for row in rows] == [["input", "0.0", "ms"], ["gain", "5.0", "ms"]]
    assert float(rows[0][3]) - float(rows[1][3]) == pytest.approx(6.0, abs=0.11)
    assert ran(capsys, "draw", sketch, "--take", take, "-o", tmp_path / "a.svg").code == 0
    root = ElementTree.parse(tmp_path / "a.svg").getroot()
    told = [e.text for e in root.iter() if e.get("data-figure-of") == "gain"]
    assert told == [f"\N{MINUS SIGN}{rows[1][3].removeprefix('-')} LUFS", "5.0 ms"]


def test_the_table_has_lanes_that_need_no_wire_of_their_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The table of figures named "sum 1.2" and no lane, and a probe on the lane that the guide named was refused."""
    sketch = sketch_file(
        tmp_path,
        'chain = [{ lanes = ["dry", ["gain"], { chain = "dry", level_db = "off" }] }]\n[blocks.gain]\ngain_db = -6',
    )
    take = take_file(tmp_path, notes(seconds=1.0))
    rows = {line[:9].strip(): line[9:] for line in ran(capsys, "draw", sketch, "--take", take).out.splitlines()[4:-2]}
    assert list(rows) == ["wire", "input", "lane 1.1", "gain", "lane 1.2", "lane 1.3", "sum 1.2", "sum 1"]
    figures = {name: row.split("  ")[:-1] for name, row in rows.items()}
    assert figures["lane 1.1"] == figures["input"] != figures["lane 1.2"] == figures["gain"]
    assert rows["lane 1.3"].split() == ["-", "-", "-", "silent:", "its", "level", "is", "off"]
    assert rows["lane 1.2"].endswith("  as gain")
    probes = [option for name in list(rows)[1:] for option in ("--probe", f"{name}={tmp_path / f'{name}.wav'}")]
    assert ran(capsys, "render", sketch, take, "-o", tmp_path / "out.wav", *probes).code == 0


@pytest.mark.parametrize("chain", ['["gain"]', '["gain", "pan"]'], ids=["mono", "stereo"])
def test_all_commands_count_a_mono_take_alike(chain: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`check` told a take 3 LU lower than its drawing, and `render` how much louder it became than neither said."""
    sketch = sketch_file(tmp_path, f"chain = {chain}\n[blocks.gain]\ngain_db = -6")
    x = notes(seconds=1.0)
    take = take_file(tmp_path, x)
    alone = measure_loudness(x, RATE_HZ).integrated_lufs
    both = alone + 10.0 * math.log10(2.0)  # BS.1770-5 sums the powers of the channels
    checked = ran(capsys, "check", sketch, "--take", take).out
    assert f"; {alone:.1f} LUFS, {both:.1f} from two loudspeakers\n" in checked
    drawn = ran(capsys, "draw", sketch, "--take", take).out.splitlines()
    assert [line.split()[3] for line in drawn if line.startswith("input  ")] == [f"{both:.1f}"]
    assert "loudness as from two loudspeakers; a mono file by itself reads 3.0 LU less" in drawn
    rendered = ran(capsys, "render", sketch, take, "-o", tmp_path / "out.wav").out
    # A pan in the middle leaves both sides as they are.
    if chain == '["gain"]':
        told = f" {alone - 6.0:.1f} LUFS, {both - 6.0:.1f} from two loudspeakers"
        told += " (-6.0 LU against the take while it sounds),"
        assert f"Through the sketch: {alone - 6.0:.1f} LUFS, {both - 6.0:.1f} from two loudspeakers," in checked
    else:
        told = f" {both - 6.0:.1f} LUFS (-6.0 LU against the take while it sounds),"
        assert f"Through the sketch: {both - 6.0:.1f} LUFS, true peak" in checked
    assert told in rendered


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["-o", "a.pdf"], 'a.pdf: cannot write ".pdf" files, allowed .svg | .png | .txt'),
        (["-o", "a.svgg"], 'did you mean ".svg"?'),
        (["--patch", "wdie"], 'no patch "wdie"; did you mean "wide"?'),
        (["--room", "quay"], 'no room "quay"; there are chapel'),
        (["--take", "none.wav"], "none.wav"),
        (["-o", "nowhere/a.svg"], "does not exist"),
    ],
)
def test_what_it_refuses(
    arguments: list[str],
    message: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert message in complaint(ran(capsys, "draw", sketch_file(tmp_path, SET), *arguments))
    assert names(tmp_path) == ["sketch.toml"]


def test_it_does_not_write_over_what_it_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, SET, name="sketch.txt")
    assert "is the file sketch.txt itself" in complaint(ran(capsys, "draw", sketch, "-o", sketch))
    assert sketch.read_text(encoding="utf-8") == SET
