"""`chainsim compare` on the command line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from chainsim.cli import compare_text
from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file

SKETCH = 'title = "Pier"\nchain = ["gain"]\n[blocks.gain]\ntype = "gain"\ngain_db = -6\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    sketch_file(tmp_path, SKETCH, "pier.toml")
    sketch_file(tmp_path, SKETCH.replace("Pier", "Slip").replace("-6", "2"), "slip.toml")
    take_file(tmp_path, notes(seconds=2.0))
    return tmp_path


def test_a_page_and_a_reel(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(
        capsys, "compare", "pier.toml", "slip.toml", "--take", "take.wav", "-o", "page.html", "--reel", "car.wav",
        "--excerpt", "0:00.5,1.5", "--no-wires",
    )  # fmt: skip
    assert run.code == 0
    lines = run.out.splitlines()
    size = (folder / "page.html").stat().st_size / 1e6
    assert lines[-1] == f"page.html: 2 versions, 1.0 s, {size:.1f} MB; open it in a browser"
    assert "  1  Pier" in lines[3]
    assert "  2  Slip" in lines[4]
    assert names(folder) == ["car.txt", "car.wav", "page.html", "pier.toml", "slip.toml", "take.wav"]


@pytest.mark.skipif(os.name != "posix", reason="there a name is text")
def test_a_reel_alone_has_no_more_than_it_needs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The take's name holds a byte that is no text."""
    take = os.fsdecode(b"b\xff.wav")
    (folder / "take.wav").rename(take)
    run = ran(capsys, "compare", "pier.toml", "slip.toml", "--take", take, "--reel", "car.wav", "--json")
    assert run.code == 0
    told = json.loads(run.out)
    assert (told["take"], told["sounds"], told["board"], told["page"]) == ("b\\udcff.wav", 3, False, None)
    assert [version["name"] for version in told["versions"]] == ["Pier", "Slip"]
    assert told["versions"][1]["figures"]["latency"] == "0.0 ms"
    assert [v["as_it_comes_db"] for v in told["versions"]] == pytest.approx([-6 - 2, 0], abs=0.01)
    assert told["reel"]["running_order"] == "car.txt"
    assert "b\\udcff.wav" in (folder / "car.txt").read_text(encoding="utf-8")
    assert ran(capsys, "compare", "pier.toml", "--take", take, "--reel", "car.wav").code == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["pier.toml", "--take", "take.wav"], "say where the page goes"),
        (["pier.toml", "-o", "page.html"], "sketches need a take to go through: --take FILE"),
        (["set.toml", "-o", "page.html"], "sketches need a take to go through: --take FILE"),
        (["pier.toml", "--take", "take.wav", "-o", "page.html", "--page", "2"], "page 2, allowed 1 ... 1"),
        (["pier.toml", "--take", "take.wav", "-o", "take.wav"], "is the take itself"),
        (["pier.toml", "--take", "take.wav", "-o", "page.html", "--excerpt", "5"], "write two times"),
        (["pier.toml", "--take", "take.wav", "-o", "page.html", "--excerpt", "5,6"], "the take has 0 ... 2.0 s"),
        (["pier.toml", "--take", "take.wav", "-o", "page.html", "--watch"], "--watch makes a folder"),
        ([".", "-o", "page", "--watch"], "--watch waits for sketches to be saved"),
        (["pier.toml", "--take", "take.wav", "-o", "page.pdf"], "for a PDF write .html and print it from a browser"),
        (["pier.toml", "--take", "take.wav", "-o", "note.txt"], 'cannot write ".txt" files, allowed .html | .htm'),
        (["pier.toml", "--take", "take.wav", "--reel", "car.xyz"], 'cannot write ".xyz" files'),
        (["pier.toml", "--take", "take.wav", "-o", "page.html", "--excerpt", "0,inf"], "write two times"),
        (["pier.toml", "--take", "take.wav", "--reel", "parts.wav"], "parts.txt: would be replaced"),
        (["pier.toml", "--take", "take.wav", "-o", "site", "--watch"], "site: holds index.html, which is no page"),
        (["pier.toml", "--take", "take.wav", "-o", "p.html", "--patch", "solo"], 'no patch "solo"; no sketch has any'),
    ],
)
def test_what_cannot_be_done(folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str) -> None:
    (folder / "parts.txt").write_text("two horns\n")
    (folder / "set.toml").write_text(f'{SKETCH}[patches.solo]\n[[switches]]\nname = "A"\npress = "patch solo"\n')
    (folder / "site").mkdir()
    (folder / "site" / "index.html").write_text("<h1>My site</h1>")
    before = names(folder)
    assert said in complaint(ran(capsys, "compare", *arguments))
    assert names(folder) == before


def test_what_is_there_once_or_large_is_told(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compare_text, "LARGE_MB", 0.01)
    (folder / "mole.toml").write_text(SKETCH.replace("Pier", "Mole"))
    run = ran(
        capsys, "compare", "pier.toml", "./pier.toml", "mole.toml", "--take", "take.wav", "-o", "page.html", "--lossy",
        "--no-wires",
    )  # fmt: skip
    assert run.code == 0
    assert "page.html: 1 version," in run.out
    assert "warning: pier.toml: is named more than once, and is there once" in run.err
    assert '"Pier" is also "Mole": the same sound' in run.err
    assert "are much for one file; --excerpt FROM,TO makes it smaller" in run.err
    assert "also: Mole" in (folder / "page.html").read_text(encoding="utf-8")


def save(path: Path, text: str) -> None:
    """Whole at once: half of it would be taken up if this machine stalled in the middle."""
    new = path.with_suffix(".new")
    new.write_text(text)
    os.replace(new, path)


def test_watch_makes_the_page_again_and_keeps_it_over_a_fault(folder: Path) -> None:
    command = [sys.executable, "-c", "from chainsim.cli import main; main()", "compare", "pier.toml"]
    options = ["--take", "take.wav", "-o", "page", "--no-wires", "--watch"]
    index, sketch = folder / "page" / "index.html", folder / "pier.toml"
    with subprocess.Popen([*command, *options], cwd=folder, stdout=-1, stderr=-1, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None

        def until_watching() -> list[str]:
            said: list[str] = []
            while not (said and said[-1].startswith("watching pier.toml")):
                line = process.stderr.readline() if process.stderr else ""
                assert line, said
                said.append(line.strip())
            return said

        try:
            until_watching()
            assert "index.html: 1 version" in process.stdout.readline()
            first = index.read_text(encoding="utf-8")
            save(sketch, 'chain = ["gian"]\n')
            assert any('"gian"' in line for line in until_watching())
            assert index.read_text(encoding="utf-8") == first
            save(sketch, SKETCH.replace("Pier", "Mole"))
            until_watching()
            assert "1 version" in process.stdout.readline()
            assert "Mole" in index.read_text(encoding="utf-8")
        finally:
            process.kill()
