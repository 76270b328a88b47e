"""What the README tells a newcomer to do works."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pytest
import soundfile

import chainsim
from chainsim import load_sketch, parse_sketch, render
from chainsim.resources import preset_paths, take_paths
from chainsim.sketch.cues import CueSettings
from chainsim.sketch.general_settings import Common, Header
from chainsim.sketch.loading import TOP_KEYS
from chainsim.stage.foot import Foot
from tests.cli.running import ran

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"


def fenced(language: str, page: Path = README) -> list[str]:
    """A page's code blocks of one language, without their indentation."""
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```", page.read_text(), flags=re.S | re.M)
    return [re.sub(rf"^{indent}", "", text, flags=re.M) for indent, text in found]


def test_the_first_sketch_renders(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("first.toml").write_text(fenced("toml")[0])
    take, rate_hz = soundfile.read(next(iter(take_paths().values())), frames=96_000)
    soundfile.write("horn.wav", take, rate_hz)
    sketch = load_sketch("first.toml")
    assert sketch.warnings == ()
    heard = render(sketch, take, rate_hz).audio
    assert heard.shape[1] == 2
    assert 0.01 < np.abs(heard).max() < 1.0
    (wire_command,) = re.findall(r"^`chainsim (render first.toml .*--probe .*)`", README.read_text(), flags=re.M)
    told = ran(capsys, *shlex.split(wire_command))
    assert told.code == 0, told.err  # the wire is one of this sketch
    assert {"first.wav", "beside.wav"} <= {path.name for path in tmp_path.iterdir()}


def test_the_voices_render_beside_the_horn() -> None:
    take, rate_hz = soundfile.read(next(iter(take_paths().values())), frames=96_000)
    sketch = parse_sketch(fenced("toml")[1])
    assert sketch.warnings == ()
    assert 0.01 < np.abs(render(sketch, take, rate_hz).audio).max() < 1.0


def test_a_take_is_tracked_with_every_option_of_the_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("first.toml").write_text(fenced("toml")[0])
    take, rate_hz = soundfile.read(next(iter(take_paths().values())), frames=96_000)
    soundfile.write("horn.wav", take, rate_hz)
    command = re.search(r"^    chainsim (track .*)$", README.read_text(), flags=re.M)
    table = re.search(r"^\| option .*?\n\n", README.read_text(), flags=re.M | re.S)
    assert command is not None
    assert table is not None
    options = re.findall(r"`(--[^`]+)`", table[0])
    assert len(options) >= 8
    line = [*shlex.split(command[1]), *" ".join(options).split()]
    told = ran(capsys, *line)
    assert told.code == 0, told.err
    assert all(Path(name).stat().st_size > 0 for name in ("horn.csv", "horn.mid", "horn.png"))


def test_the_python_example_runs(tmp_path: Path) -> None:
    (tmp_path / "first.toml").write_text(fenced("toml")[0])
    take, rate_hz = soundfile.read(next(iter(take_paths().values())), frames=48_000)
    soundfile.write(tmp_path / "horn.wav", take, rate_hz)
    code = fenced("python")[0] + "\nprint(sound.audio.shape[1], sound.probes['sweep'].shape[1])"
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["2", "1"]


def test_the_python_example_of_a_set_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(ROOT)
    take, rate = soundfile.read(next(iter(take_paths().values())), frames=72_000)
    names: dict[str, Any] = {"chainsim": chainsim, "take": take, "rate": rate}
    exec(fenced("python")[2], names)
    assert capsys.readouterr().out == "()\n"
    assert 0.01 < np.abs(names["gulls"].audio).max() < 1.0


def test_the_python_example_of_a_page_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    first = fenced("toml")[0]
    Path("first.toml").write_text(first)
    Path("second.toml").write_text(first.replace("First try", "Second try").replace("q = 3", "q = 6"))
    take, rate = soundfile.read(next(iter(take_paths().values())), frames=72_000)
    soundfile.write("horn.wav", take, rate)
    exec(fenced("python")[1], {"chainsim": chainsim})
    text = Path("page.html").read_text(encoding="utf-8")
    assert "First try" in text
    assert "Second try" in text


def test_the_python_example_of_orders_and_batches_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("first.toml").write_text(fenced("toml")[0])
    take, rate = soundfile.read(next(iter(take_paths().values())), frames=36_000)
    soundfile.write("horn.wav", take, rate)
    sketch = load_sketch("first.toml")
    one = render(sketch, take, rate)
    names: dict[str, Any] = {"chainsim": chainsim, "sketch": sketch, "one": one, "other": one, "rate": rate}
    exec(fenced("python")[3], names)
    assert len(names["found"].orders) == 2  # the gate stays first, the reverb last
    assert [row.settings["sweep.q"] for row in names["batch"].rows] == [0.7, 2, 5]
    assert names["steps"] == 0.0


SKETCH_PAGE = ROOT / "presets" / "README.md"


@pytest.mark.parametrize("text", fenced("toml", SKETCH_PAGE))
def test_every_example_of_the_sketch_page_renders(text: str, tmp_path: Path) -> None:
    shutil.copy(SKETCH_PAGE.with_name("boathouse.flac"), tmp_path)
    soundfile.write(tmp_path / "band.wav", 0.1 * np.sin(np.arange(48_000) / 9.0), 48_000)
    for name in re.findall(r'"(\w+\.mid)"', text):
        notes = [mido.Message("note_on", note=60), mido.Message("note_off", note=60, time=480)]
        mido.MidiFile(tracks=[mido.MidiTrack(notes)]).save(tmp_path / name)
    for name, table in zip(("evening.csv", "pedal.csv"), fenced("csv", SKETCH_PAGE), strict=True):
        (tmp_path / name).write_text(table)
    (tmp_path / "sketch.toml").write_text(text)
    sketch = load_sketch(tmp_path / "sketch.toml")
    assert sketch.warnings == ()
    rng = np.random.default_rng(1)
    assert np.isfinite(render(sketch, 0.1 * rng.standard_normal(4_800), 48_000.0).audio).all()


def test_the_sketch_page_shows_every_entry_of_the_head_and_of_all_blocks() -> None:
    shown = "\n".join(fenced("toml", SKETCH_PAGE))
    for name in [*Header.specs(), *Common.specs(), *TOP_KEYS, *Foot.specs(), *CueSettings.specs(), "align"]:
        if name != "format":
            assert name in (shown if name != "align" else SKETCH_PAGE.read_text()), name


def test_links_lead_somewhere() -> None:
    for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md"):
        for target in re.findall(r"\]\(([^)#]+)\)", (ROOT / name).read_text()):
            assert target.startswith("https://") or (ROOT / target).exists(), (name, target)


def test_rooms_of_the_map_exist() -> None:
    table = re.findall(r"^\| (`.*?) \|", (ROOT / "DEVELOPERS.md").read_text(), flags=re.M)
    rooms = [room for line in table for room in re.findall(r"`([^`]+)`", line)]
    assert len(rooms) > 10
    for room in rooms:
        assert (ROOT / room).exists() or (ROOT / "chainsim" / room).exists(), room


def test_there_are_presets_and_takes() -> None:
    assert len(preset_paths()) >= 8
    assert 2 <= len(take_paths()) <= 3
