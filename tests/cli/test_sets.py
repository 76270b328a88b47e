"""Sets in `render`: one patch, every patch, one room; and what cannot be."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile

from chainsim.graph.engine import Engine
from tests.cli.lantern_walk import FILES, FS, PATCH_DB, SET, gain_db, render, set_folder, sound
from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return set_folder(tmp_path)


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
