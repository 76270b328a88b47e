"""`chainsim measure` from the outside: the table, the JSON, and one line for what is wrong."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from chainsim.horn.notation import notes_of
from chainsim.horn.phrase import Phrase
from chainsim.horn.play import play
from tests.cli.running import complaint, names, ran, sketch_file, take_file

RATE_HZ = 48_000
SKETCH = """
key = "C major"
instrument = "tenor sax"
chain = ["mates"]
[blocks.mates]
type = "pitch_shifter"
voices = [{ interval = "P5 above", cents = -5 }, { interval = "third above" }, { pitch = "C3" }]
"""


@pytest.fixture(scope="module")
def audio() -> np.ndarray:
    """C4 and E4, 0.6 s each, with a rest before: shape (frames, 1)."""
    return play(Phrase("two notes", 100.0, notes_of("C4 1, - 1, E4 1"), "tenor sax")).audio[:, None]


@pytest.fixture
def take(audio: np.ndarray, tmp_path: Path) -> Path:
    return take_file(tmp_path, audio, RATE_HZ)


def test_the_table_has_a_line_a_voice(take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--harmony", sketch_file(tmp_path, SKETCH), take)
    assert run.code == 0
    head, _, columns, *lines = run.out.splitlines()
    assert head.endswith(", C major")
    assert columns.split()[:2] == ["voice", "plays"]
    assert columns.endswith("right degree")
    assert [line.split("  ")[0] for line in lines] == ["mates 1", "mates 2", "mates 3"]
    assert "P5 above -5 cents" in lines[0]
    assert "2 of 2" in lines[0]
    assert lines[1].endswith("2 of 2")
    assert "C3" in lines[2]
    assert names(tmp_path) == ["sketch.toml", "take.wav"]
    assert "\r" not in run.err
    plain = ran(capsys, "measure", "--harmony", sketch_file(tmp_path, 'chain = ["pitch_shifter"]'), take)
    assert "degree" not in plain.out


def test_json_tells_every_note(take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, "measure", "--harmony", "--json", sketch_file(tmp_path, SKETCH), take)
    told = json.loads(run.out)
    assert (told["key"], told["folded_to_mono"]) == ("C major", False)
    fifth, third, drone = told["voices"]
    assert (fifth["place"], fifth["cents"], fifth["degrees"]) == ("P5 above", -5.0, None)
    assert third["degrees"] == {"right": 2, "of": 2}
    assert [round(note["semitones"]) for note in third["each"]] == [4, 3]
    assert [round(note["semitones"]) for note in drone["each"]] == [-12, -16]
    for voice in told["voices"]:
        assert (voice["notes"], voice["steady_notes"], voice["dropped_out"]) == (2, 2, 0)
        assert abs(voice["mean_cents"]) < 2.0
        assert len(voice["each"]) == 2


def test_a_voice_that_never_sounds_is_silent(take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = SKETCH + 'lowest_note = "D5"\nunpitched_db = "off"\n'
    run = ran(capsys, "measure", "--harmony", sketch_file(tmp_path, text), take)
    assert run.code == 0
    assert run.out.count("silent") == 3


BAD = {
    "no mode": ((), "say what to measure: --harmony SKETCH TAKE"),
    "no mode for files": (("sketch.toml", "take.wav"), "say what to measure: --harmony SKETCH TAKE"),
    "one file": (("--harmony", "sketch.toml"), "--harmony takes two files, SKETCH and TAKE; found 1"),
    "three files": (("--harmony", "sketch.toml", "take.wav", "take.wav"), "found 3"),
    "no take": (("--harmony", "sketch.toml", "none.wav"), "none.wav: no such file"),
    "no sketch": (("--harmony", "none.toml", "take.wav"), "none.toml: cannot be read"),
    "the wrong way round": (("--harmony", "take.wav", "sketch.toml"), "is it the take? The sketch comes first"),
    "no shifter": (("--harmony", "plain.toml", "take.wav"), 'plain.toml: no block of type "pitch_shifter"'),
    "no key": (("--harmony", "keyless.toml", "take.wav"), "keyless.toml: blocks.mates.voices[1].interval"),
    "unknown option": (("--harmonie",), "--harmonie"),
}


@pytest.mark.parametrize(("arguments", "message"), BAD.values(), ids=BAD)
def test_what_is_wrong_gets_one_line(
    take: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[object, ...],
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    sketch_file(tmp_path, SKETCH)
    sketch_file(tmp_path, 'chain = ["reverb"]', "plain.toml")
    sketch_file(tmp_path, SKETCH.replace('key = "C major"', ""), "keyless.toml")
    assert message in complaint(ran(capsys, "measure", *arguments))


def test_silence_is_measured_and_doubted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    silent = take_file(tmp_path, np.zeros((RATE_HZ, 1)), RATE_HZ)
    run = ran(capsys, "measure", "--harmony", sketch_file(tmp_path, SKETCH), silent)
    assert run.code == 0
    assert "warning: no note is steady" in run.err
    assert "0 of 0" in run.out


def test_the_command_starts_without_what_it_may_not_need() -> None:
    code = "import sys, chainsim.cli.measure; print(*(m for m in ('numpy', 'scipy', 'pydantic') if m in sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
