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
    "nothing": ((), "say what to measure: FILE..., --harmony SKETCH TAKE, --chain SKETCH, --pair DRY WET"),
    "no file": (("none.wav",), "none.wav: no such file"),
    "no sound": (("sketch.toml",), "sketch.toml: this is a sketch, not a recording"),
    "one plot of two": (("take.wav", "take.wav", "--plot", "a.png"), "--plot draws one file; found 2"),
    "a plot over the file": (("take.wav", "--plot", "./take.wav"), "take.wav: is the file to be measured"),
    "a plot of no format": (("take.wav", "--plot", "a.bmp"), 'a.bmp: suffix ".bmp", allowed for plots: .png'),
    "no impulse of harmonies": (("--harmony", "--impulse", "a", "b"), "--impulse does not go with --harmony"),
    "no plot of harmonies": (("--harmony", "--plot", "a.png", "a", "b"), "--plot does not go with --harmony"),
    "one file": (("--harmony", "sketch.toml"), "--harmony takes two files, SKETCH and TAKE; found 1"),
    "three files": (("--harmony", "sketch.toml", "take.wav", "take.wav"), "found 3"),
    "no take": (("--harmony", "sketch.toml", "none.wav"), "none.wav: no such file"),
    "no sketch": (("--harmony", "none.toml", "take.wav"), "none.toml: cannot be read"),
    "the wrong way round": (
        ("--harmony", "take.wav", "sketch.toml"),
        "take.wav: this is a recording, not a sketch; the sketch comes first",
    ),
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


def tone(seconds: float, amplitude: float) -> np.ndarray:
    """1 kHz in left and right, shape (frames, 2)."""
    x = amplitude * np.sin(2.0 * np.pi * 1000.0 * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)
    return np.stack([x, x], axis=1)


def test_one_file_is_told_in_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # EBU Tech 3341, 2.9: 1 kHz in left and right at -18 dBFS reads -18.0 LUFS.
    run = ran(capsys, "measure", take_file(tmp_path, tone(4.0, 10.0 ** (-18.0 / 20.0)), RATE_HZ))
    assert run.code == 0
    assert run.out.splitlines()[0].endswith("take.wav: 4.00 s, 48000 Hz, stereo")
    assert "-18.0 LUFS integrated, at most -18.0 LUFS short-term (3 s), -18.0 LUFS momentary (0.4 s)" in run.out
    assert "peak: -18.0 dBTP true, -18.0 dBFS of samples; rms -21.0 dBFS, crest 3.0 dB" in run.out
    assert "clipped: no sample at 1 of full scale or more" in run.out
    assert "noise in rests: it has no rest" in run.out


def test_several_files_are_one_table_and_one_that_fails_stops_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    loud = take_file(tmp_path, np.clip(tone(1.0, 1.5), -1.0, 1.0), RATE_HZ, "loud.wav")
    silent = take_file(tmp_path, np.zeros((RATE_HZ, 1)), RATE_HZ, "silent.wav")
    run = ran(capsys, "measure", loud, tmp_path / "none.wav", silent)
    assert run.code == 1
    assert [line for line in run.err.splitlines() if "none.wav" in line] == [
        f"chainsim: {tmp_path / 'none.wav'}: no such file"
    ]
    head, *rows = run.out.splitlines()
    assert head.split()[:4] == ["file", "s", "ch", "kHz"]
    assert [Path(row.split()[0]).name for row in rows[:2]] == ["loud.wav", "silent.wav"]
    # 1 kHz at 48 kHz that is cut at 2/3 of its peak: twice a period, 2000 times in each of two channels.
    assert rows[0].split()[-1] == "4000"
    assert rows[1].split()[4:7] == ["-", "-", "-"]
    assert ran(capsys, "measure", tmp_path / "none.wav", tmp_path / "no.wav").code == 2


def test_json_has_null_for_what_is_no_number(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    silent = take_file(tmp_path, np.zeros((RATE_HZ, 1)), RATE_HZ)
    run = ran(capsys, "measure", "--json", silent, tmp_path / "none.wav")
    told = json.loads(run.out)
    assert run.code == 1
    assert told["failed"] == [f"{tmp_path / 'none.wav'}: no such file"]
    (figures,) = told["measured"]
    assert (figures["file"], figures["channels"], figures["dc"]) == (str(silent), 1, [0.0])
    for key in ("integrated_lufs", "true_peak_dbtp", "sample_peak_dbfs", "noise_floor_dbfs", "centroid_hz", "t30_s"):
        assert figures[key] is None


def test_an_impulse_response_and_a_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # 0.5 s in closed form, as in tests/batch; C80 = 10 log10(exp(1.10524 / 0.5) - 1) = 9.096 dB.
    decay = 0.5 * np.exp(-6.907755 * np.arange(2 * RATE_HZ) / RATE_HZ / 0.5)
    path = take_file(tmp_path, decay[:, None], RATE_HZ)
    run = ran(capsys, "measure", "--impulse", path, "--plot", tmp_path / "a.png")
    assert run.code == 0
    rows = [line.split() for line in run.out.splitlines()]
    (whole,) = [row for row in rows if row[:1] == ["all"]]
    assert whole[1:5] == ["0.500", "0.500", "0.500", "9.1"]
    assert [int(row[0]) for row in rows if row[1:2] == ["Hz"]] == [63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000]
    assert names(tmp_path) == ["a.png", "take.wav"]
    assert json.loads(ran(capsys, "measure", "--json", "--impulse", path).out)["measured"][0]["t20_s"] == pytest.approx(
        0.5, rel=1e-3
    )


def test_the_command_starts_without_what_it_may_not_need() -> None:
    code = "import sys, chainsim.cli.measure; print(*(m for m in ('numpy', 'scipy', 'pydantic') if m in sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
