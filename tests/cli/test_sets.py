"""Sets on the command line: one patch, every patch, one room, one loudness; the walk of `check`, mutes in `track`."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

from chainsim import load_sketch
from chainsim.graph.engine import Engine
from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file

FS = 8_000
SET = """
title = "Lantern walk"
tempo_bpm = 120
chain = ["tone", "drive"]
[blocks.tone]
type = "gain"
[blocks.drive]
type = "gain"
gain_db = 3
[patches.soft]
engage = ["tone"]
[patches.soft.blocks.tone]
gain_db = -12
[patches.loud]
engage = ["tone", "drive"]
[patches."last act / quay"]
engage = []
[[banks]]
name = "Quay"
patches = ["soft", "loud"]
[[banks]]
name = "Pier"
patches = ["last act / quay"]
[[switches]]
name = "A"
press = "place 1"
hold = "mute"
[[switches]]
name = "B"
press = "place 2"
[[switches]]
name = "UP"
press = "bank up"
[rooms.chapel]
feed = "mono"
[rooms.chapel.blocks.drive]
engaged = false
[[cues]]
at_s = 0.5
patch = "soft"
[[cues]]
at_bar = "1:3"
patch = "loud"
[[cues]]
at_bar = "1:4"
patch = "last act / quay"
[[cues]]
at_s = 3
mute = true
"""
PATCH_DB = {"soft": -12.0, "loud": 3.0, "last act / quay": 0.0}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    sketch_file(tmp_path, SET)
    take_file(tmp_path, notes())
    return tmp_path


def sound(path: Path) -> np.ndarray:
    y, rate_hz = soundfile.read(path)
    assert rate_hz == FS
    return np.asarray(y)


def gain_db(path: Path, folder: Path, part: slice = slice(None)) -> float:
    """What a file's sound is against the take's."""
    x, y = sound(folder / "take.wav")[part], sound(path)[part]
    return float(10.0 * np.log10((y**2).sum() / (x**2).sum()))


# render


def render(folder: Path, *more: object) -> tuple[object, ...]:
    return ("render", folder / "sketch.toml", folder / "take.wav", *more)


@pytest.mark.parametrize("patch", PATCH_DB)
def test_one_patch_alone(folder: Path, capsys: pytest.CaptureFixture[str], patch: str) -> None:
    run = ran(capsys, *render(folder, "-o", folder / "out.wav", "--patch", patch, "--json"))
    assert run.code == 0
    assert gain_db(folder / "out.wav", folder) == pytest.approx(PATCH_DB[patch], abs=1e-4)  # no cue mutes it
    (report,) = json.loads(run.out)["rendered"]
    assert (report["patch"], report["room"]) == (patch, None)


def test_the_whole_set_plays_its_cues(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As written until 0.5 s, soft until bar 1:3 (1 s), loud until 1:4 (1.5 s), then plain, from 3 s on silent."""
    assert ran(capsys, *render(folder, "-o", folder / "out.wav")).code == 0
    for from_s, to_s, expected_db in ((0.0, 0.5, 3.0), (0.55, 1.0, -12.0), (1.05, 1.5, 3.0), (1.6, 3.0, 0.0)):
        part = slice(round(from_s * FS), round(to_s * FS))
        assert gain_db(folder / "out.wav", folder, part) == pytest.approx(expected_db, abs=0.1), from_s
    assert not sound(folder / "out.wav")[round(3.02 * FS) :].any()


def test_one_room(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, *render(folder, "-o", folder / "out.wav", "--room", "chapel", "--patch", "loud", "--record"))
    assert run.code == 0
    assert gain_db(folder / "out.wav", folder) == pytest.approx(0.0, abs=1e-4)  # the drive of 3 dB is left out there
    record = json.loads((folder / "out.wav.json").read_text())
    assert (record["patch"], record["room"]) == ("loud", "chapel")


def test_a_stereo_take_is_folded_where_the_room_takes_one_channel(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sketch = sketch_file(tmp_path, SET)
    take = take_file(tmp_path, notes(channels=2))
    for options, channels in (((), 2), (("--room", "chapel"), 1)):
        assert ran(capsys, "render", sketch, take, "-o", tmp_path / "out.wav", *options).code == 0
        assert soundfile.info(tmp_path / "out.wav").channels == channels


FILES = ["last act _ quay.wav", "loud.wav", "soft.wav"]


def test_every_patch_gets_a_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ran(capsys, *render(folder, "--all-patches", folder / "patches", "--json"))
    assert run.code == 0
    assert names(folder / "patches") == FILES
    told = json.loads(run.out)
    assert told["failed"] == []
    assert {r["patch"]: Path(r["output"]).name for r in told["rendered"]} == {
        "soft": "soft.wav",
        "loud": "loud.wav",
        "last act / quay": "last act _ quay.wav",
    }
    for report in told["rendered"]:
        assert gain_db(Path(report["output"]), folder) == pytest.approx(PATCH_DB[report["patch"]], abs=1e-4)
        assert report["trim_db"] == 0.0


def test_every_patch_of_several_takes_in_one_room(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take_file(folder, 0.5 * notes(), name="b.wav")
    run = ran(capsys, *render(folder, folder / "b.wav", "--all-patches", folder / "patches", "--room", "chapel"))
    assert run.code == 0
    assert names(folder / "patches") == sorted(f"{take} {name}" for take in ("b", "take") for name in FILES)
    assert gain_db(folder / "patches" / "b loud.wav", folder) == pytest.approx(-6.02, abs=0.01)


def test_every_patch_at_one_loudness(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Measured by another library at 48 kHz, where its filters are those of the standard (ITU-R BS.1770)."""
    t = np.arange(5 * 48_000) / 48_000
    take_file(folder, (0.2 * np.sin(2.0 * np.pi * 440.0 * t))[:, None], 48_000)
    run = ran(capsys, *render(folder, "--all-patches", folder / "patches", "--loudness", "-23"))
    assert run.code == 0
    meter = pyloudnorm.Meter(48_000)
    for name in FILES:
        y, _ = soundfile.read(folder / "patches" / name)
        assert meter.integrated_loudness(y) == pytest.approx(-23.0, abs=0.1)
    trims = [float(v) for v in re.findall(r"trimmed by ([+-][0-9.]+) dB", run.out)]
    soft, loud, plain = trims  # in the order of the patches
    assert soft - plain == pytest.approx(12.0, abs=0.11)
    assert loud - plain == pytest.approx(-3.0, abs=0.11)


def test_a_trim_stops_at_the_ceiling(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Brought to 0 LUFS a note would peak far over full scale: it stays as much quieter as the ceiling asks."""
    arguments = render(folder, "-o", folder / "out.wav", "--patch", "soft", "--loudness", "0", "--format", "pcm16")
    run = ran(capsys, *arguments, "--ceiling", "-3", "--json")
    assert run.code == 0
    (report,) = json.loads(run.out)["rendered"]
    assert report["lowered_by_db"] == 0.0
    assert report["true_peak_dbtp"] == pytest.approx(-3.0, abs=1e-6)
    assert f"it is brought to {report['integrated_lufs']:.1f} LUFS" in run.err
    assert 20.0 * math.log10(np.abs(sound(folder / "out.wav")).max()) == pytest.approx(-3.0, abs=0.1)


def test_one_peak_keeps_all_patches_quieter(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A click in the take: no patch can be brought to -6 LUFS under -1 dBTP, and all end alike, uncompressed."""
    take = notes()
    take[len(take) // 2] = 1.0
    take_file(folder, take)
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--loudness", "-6", "--json"))
    reports = json.loads(run.out)["rendered"]
    assert max(r["true_peak_dbtp"] for r in reports) == pytest.approx(-1.0, abs=1e-6)
    assert len({round(r["integrated_lufs"], 6) for r in reports}) == 1
    assert run.err.count("over the ceiling of -1: all are brought to") == 1


def test_trims_are_written_into_the_sketch_and_heard(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (folder / "sketch.toml").read_text()
    arguments = render(folder, "--all-patches", folder / "p", "--loudness", "-23")
    assert ran(capsys, *arguments, "--write-trims").code == 0
    after = (folder / "sketch.toml").read_text()
    lines = [line for line in after.splitlines() if line and not line.startswith("trim_db")]
    assert lines == [line for line in before.splitlines() if line]
    run = ran(capsys, *arguments, "--json", "--write-trims")
    for report in json.loads(run.out)["rendered"]:
        assert report["trim_db"] == pytest.approx(0.0, abs=0.006)  # written in hundredths of a dB
    assert (folder / "sketch.toml").read_text().count("trim_db") == len(PATCH_DB)
    run = ran(capsys, *render(folder, "-o", folder / "whole.wav"))
    take, whole = sound(folder / "take.wav"), sound(folder / "whole.wav")
    trims = {p: v.state.trim_db for p, v in load_sketch(folder / "sketch.toml").patches.items()}
    for patch, at_s in (("soft", 0.9), ("loud", 1.4), ("last act / quay", 2.5)):
        i = slice(round(at_s * FS), round(at_s * FS) + 400)
        gain = np.linalg.norm(whole[i]) / np.linalg.norm(take[i])
        assert 20.0 * math.log10(gain) == pytest.approx(PATCH_DB[patch] + trims[patch], abs=1e-4)


def test_trims_that_could_not_be_read_again_are_not_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = SET.replace("[patches.soft]", "[patches.soft]\ntrim_db = -29").replace("\n", "\r\n")
    (folder / "sketch.toml").write_bytes(text.encode())
    arguments = render(folder, "--patch", "soft", "-o", folder / "o.wav", "--write-trims", "--loudness")
    lower = ran(capsys, *arguments, "-60")
    assert "patches.soft.trim_db = -" in complaint(lower)
    assert "allowed -30 ... 30 dB" in lower.err
    assert (folder / "sketch.toml").read_bytes() == text.encode()
    assert ran(capsys, *arguments, "-50").code == 0
    assert b"\r\n" in (folder / "sketch.toml").read_bytes()
    assert b"\r\r" not in (folder / "sketch.toml").read_bytes()


def test_soft_and_loud_playing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A gain raises all alike; a gate in its place lowers soft playing and leaves the loud one."""
    t = np.arange(6 * FS) / FS
    levels = np.repeat([0.01, 0.05, 0.09], 2 * FS)
    take_file(folder, (levels * np.sin(2.0 * np.pi * 440.0 * t))[:, None])
    gated = SET.replace('type = "gain"\ngain_db = 3', 'type = "noise_gate"\nthreshold_db = -30\nfloor_db = -20')
    sketch_file(folder, gated)
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--loudness", "-30", "--json"))
    for report in json.loads(run.out)["rendered"]:
        soft, medium, loud = (v - report["trim_db"] for v in report["dynamics"]["offset_lu"])
        db = {"soft": -12.0, "loud": 0.0, "last act / quay": 0.0}[report["patch"]]
        assert [medium, loud] == pytest.approx([db, db], abs=0.05)
        assert soft == pytest.approx(-20.0 if report["patch"] == "loud" else db, abs=0.05)
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--loudness", "-30"))
    assert "LU against the take, and how far soft and loud playing lie apart:" in run.out
    assert re.search(r"^loud .* 39\.1$", run.out, re.MULTILINE)
    assert "19.1 LU apart." in run.out


def test_what_is_told_of_one_of_many_files_names_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch_file(folder, SET + '[patches.silent.blocks.tone]\ngain_db = "off"\n[blocks.spare]\ntype = "gain"\n')
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--loudness", "-23"))
    assert run.code == 0
    warnings = [line for line in run.err.splitlines() if line.startswith("warning: ")]
    assert f"warning: {folder / 'p' / 'silent.wav'}: silence has no loudness to change" in warnings
    assert warnings.count("warning: blocks.spare: declared but in no chain; it does nothing") == 1


BAD_OPTIONS: list[tuple[list[str], str]] = [
    (["-o", "o.wav", "--patch", "lout"], 'no patch "lout"; did you mean "loud"?'),
    (["-o", "o.wav", "--patch", "xyz"], 'no patch "xyz"; there are soft, loud, last act / quay'),
    (["-o", "o.wav", "--room", "chappel"], 'no room "chappel"; did you mean "chapel"?'),
    (["-o", "o.wav", "--room", "yard"], 'no room "yard"; there are chapel'),
    (["-o", "o.wav", "--all-patches", "p"], "-o FILE and --all-patches DIR do not go together"),
    ([], "say where the sound goes: -o FILE, or --all-patches DIR"),
    (["--all-patches", "p", "--patch", "loud"], "--all-patches goes without --patch and --probe"),
    (["--all-patches", "p", "--probe", "tone=t.wav"], "--all-patches goes without --patch and --probe"),
    (["--all-patches", "take.wav"], "take.wav: cannot be written: File exists"),
    (["-o", "o.wav", "--loudness", "nan"], "--loudness nan: allowed -60 ... 0 LUFS"),
    (["-o", "o.wav", "--loudness", "3"], "--loudness"),
    (["-o", "o.wav", "--loudness", "loud"], "--loudness"),
    (["-o", "o.wav", "--ceiling", "nan", "--loudness", "-20"], "--ceiling: allowed -30 ... 0 dBTP"),
    (["-o", "o.wav", "--ceiling", "-3"], "--ceiling goes with --loudness"),
    (["-o", "o.wav", "--write-trims"], "--write-trims goes with --loudness and one take"),
    (["-o", "o.wav", "--write-trims", "--loudness", "-23", "--room", "chapel"], "without --room and --watch"),
]


@pytest.mark.parametrize(("options", "line"), BAD_OPTIONS, ids=range(len(BAD_OPTIONS)))
def test_options_that_cannot_be(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, options: list[str], line: str
) -> None:
    monkeypatch.chdir(folder)
    assert line in complaint(ran(capsys, "render", "sketch.toml", "take.wav", *options))
    assert names(folder) == ["sketch.toml", "take.wav"]


def test_a_sketch_without_patches_or_rooms(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch, take = sketch_file(tmp_path), take_file(tmp_path, notes())
    assert "has no patches" in complaint(ran(capsys, "render", sketch, take, "--all-patches", tmp_path / "p"))
    out = ("-o", tmp_path / "o.wav")
    assert "the sketch has none" in complaint(ran(capsys, "render", sketch, take, *out, "--patch", "solo"))
    assert "the sketch has none" in complaint(ran(capsys, "render", sketch, take, *out, "--room", "yard"))
    assert names(tmp_path) == ["sketch.toml", "take.wav"]


def test_patches_that_would_be_one_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch_file(folder, SET + '[patches."last act : quay"]\n')
    line = complaint(ran(capsys, *render(folder, "--all-patches", folder / "p")))
    assert line == f"{folder / 'p' / 'last act _ quay.wav'}: two patches or takes would become this file; rename one"
    assert names(folder) == ["sketch.toml", "take.wav"]


def test_a_patch_never_replaces_the_take(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch_file(folder, SET + "[patches.take]\n")
    before = (folder / "take.wav").read_bytes()
    assert "is the take itself" in complaint(ran(capsys, *render(folder, "--all-patches", folder)))
    assert (folder / "take.wav").read_bytes() == before
    assert names(folder) == ["sketch.toml", "take.wav"]


def test_a_take_that_cannot_be_read_is_told_once_for_all_patches(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = ran(capsys, "render", folder / "sketch.toml", folder / "no.wav", "--all-patches", folder / "p")
    assert "no such file" in complaint(run, code=2)  # nothing could be rendered
    assert names(folder / "p") == []
    some = ran(capsys, *render(folder, folder / "no.wav", "--all-patches", folder / "p"))
    assert "no such file" in complaint(some, code=1)
    assert len(names(folder / "p")) == 3


def test_a_patch_that_cannot_be_built_is_named_and_the_others_go_on(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    loop = '[patches.tangled]\nchain = ["gate", "tone"]\n[blocks.gate]\ntype = "noise_gate"\n'
    sketch_file(folder, SET + loop + '[patches.tangled.blocks.gate]\nlistens_to = "tone"\n')
    line = complaint(ran(capsys, *render(folder, "--all-patches", folder / "p")), code=1)
    assert (
        line
        == "sketch.toml: patches.tangled: blocks.tone: loop through listens_to or a controller: tone -> gate -> tone"
    )
    assert names(folder / "p") == FILES


def test_an_interrupt_keeps_the_patches_that_are_whole(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    stream, begun = Engine.stream, []

    def interrupted(engine: Engine) -> Iterator[object]:
        begun.append(engine)
        for span in stream(engine):
            yield span
            if len(begun) == 2:
                raise KeyboardInterrupt

    monkeypatch.setattr(Engine, "stream", interrupted)
    run = ran(capsys, *render(folder, "--all-patches", folder / "p", "--record"))
    assert complaint(run, code=130) == "interrupted"
    assert names(folder / "p") == ["soft.wav", "soft.wav.json"]


def test_a_bad_cue_file_stops_everything(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "cues.csv").write_text("at_s,patch\n1,lout\n2,soft\n-3,soft\n")
    sketch = sketch_file(folder, 'cue_file = "cues.csv"\n' + SET)
    run = ran(capsys, "render", sketch, folder / "take.wav", "-o", folder / "o.wav")
    assert run.code == 2
    assert run.err.splitlines() == [
        'chainsim: sketch.toml: cues.csv: line 2: patch: no patch "lout"; did you mean "loud"?',
        "chainsim: sketch.toml: cues.csv: line 4: at_s = -3 s, allowed 0 ... 86400 s",
    ]
    assert names(folder) == ["cues.csv", "sketch.toml", "take.wav"]


# check


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


# track


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
