"""Whatever is wrong with the input gets one clear line, exit code 2, and leaves nothing half-written."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.graph.engine import Engine
from tests.audio.files import put, raw_wav
from tests.audio.test_writing import room_for
from tests.cli.running import complaint, names, notes, ran, sketch_file, take_file

RATES_HZ = (8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
CHAIN = """
chain = ["gate", { lanes = ["dry", ["lift"]] }]
[blocks.gate]
type = "noise_gate"
[blocks.lift]
type = "gain"
gain_db = -6
"""


@pytest.fixture
def sketch(tmp_path: Path) -> Path:
    return sketch_file(tmp_path, CHAIN)


BAD_TAKES = {
    "empty": (b"", "is empty (0 bytes)"),
    "no frames": (raw_wav(np.zeros((0, 1), np.float32)), "holds no sound (0 frames)"),
    "not audio": (b"Dear Saltmere, here is the waltz." * 40, "not an audio file"),
    "header only": (raw_wav(np.zeros((9, 1), np.float32))[:20], "damaged or cut off"),
    "nan": (raw_wav(np.array([[0.0], [np.nan]], np.float32)), "channel 1, is nan: not a finite number"),
    "inf": (raw_wav(np.array([[0.0, -np.inf]], np.float32)), "channel 2, is -inf: not a finite number"),
    "eight channels": (raw_wav(np.zeros((10, 8), np.float32)), "8 channels, allowed 1 or 2"),
    "rate": (raw_wav(np.zeros((10, 1), np.float32), 4_000), "sample rate 4000 Hz, allowed 8000 ... 192000 Hz"),
}


@pytest.mark.parametrize(("content", "message"), BAD_TAKES.values(), ids=BAD_TAKES)
@pytest.mark.parametrize("command", ["render", "check"])
def test_takes_that_cannot_be_used(
    tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str], command: str, content: bytes, message: str
) -> None:
    take = put(tmp_path / "take.wav", content)
    arguments = (sketch, take, "-o", tmp_path / "out.wav") if command == "render" else (sketch, "--take", take)
    line = complaint(ran(capsys, command, *arguments))
    assert line.startswith(f"{take}: ")
    assert message in line
    assert names(tmp_path) == ["sketch.toml", "take.wav"]


@pytest.mark.parametrize("command", ["render", "check"])
def test_files_that_are_not_there(
    tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    def arguments(sketch: Path, take: Path) -> tuple[object, ...]:
        more = (take, "-o", tmp_path / "out.wav") if command == "render" else ("--take", take)
        return command, sketch, *more

    take = take_file(tmp_path, notes())
    assert "no such file" in complaint(ran(capsys, *arguments(sketch, tmp_path / "absent.wav")))
    assert "is a folder" in complaint(ran(capsys, *arguments(sketch, tmp_path)))
    assert "cannot be read" in complaint(ran(capsys, *arguments(tmp_path / "absent.toml", take)))
    assert "cannot be read" in complaint(ran(capsys, *arguments(tmp_path, take)))
    assert names(tmp_path) == ["sketch.toml", "take.wav"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the system's root may read everything")
def test_files_that_may_not_be_read(tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = take_file(tmp_path, notes())
    take.chmod(0)
    assert "Permission denied" in complaint(ran(capsys, "render", sketch, take, "-o", tmp_path / "out.wav"))


BAD_SKETCHES = {
    "not toml": ("chain = [", "not valid TOML"),
    "not text": (b"\xff\xfe\x00", "not a text file in UTF-8"),
    "no chain": ("", "chain: missing"),
    "unknown block": ('chain = ["gian"]', 'no block "gian"; did you mean "gain"?'),
    "unknown type": ('chain = ["a"]\n[blocks.a]\ntype = "noise_gaet"', 'did you mean "noise_gate"?'),
    "unknown setting": (
        'chain = ["gain"]\n[blocks.gain]\ngain_dB = 3',
        'blocks.gain.gain_dB: no setting "gain_dB"; did you mean "gain_db"?',
    ),
    "out of range": (
        'chain = ["noise_gate"]\n[blocks.noise_gate]\nhold_ms = 99999',
        "blocks.noise_gate.hold_ms = 99999 ms, allowed 0 ... 2000 ms",
    ),
    "not a number": ('chain = ["gain"]\n[blocks.gain]\ngain_db = nan', "blocks.gain.gain_db"),
    "loop": (
        'chain = ["a", "b"]\n[blocks.a]\ntype = "noise_gate"\nlistens_to = "b"\n[blocks.b]\ntype = "gain"',
        "loop through listens_to or a controller: b -> a -> b",
    ),
    "listens to itself": ('chain = ["a"]\n[blocks.a]\ntype = "noise_gate"\nlistens_to = "a"', "loop"),
    "nested lists": ("chain = " + "[" * 100 + "]" * 100, "chain"),
    "nested beyond reading": ("chain = " + "[" * 100_000 + "]" * 100_000, "nested too deep to be read"),
    "nested lanes": (
        "chain = " + "[{ lanes = [" * 40 + '["gain"]' + "] }]" * 40,
        "nested more than 16 forks deep",
    ),
    "too large": ("# " + "x" * 1_000_001, "a sketch has at most 1000000"),
    "twice": ('chain = ["gain", "gain"]', 'stands in the chain 2 times'),
}  # fmt: skip


@pytest.mark.parametrize(("text", "message"), BAD_SKETCHES.values(), ids=BAD_SKETCHES)
@pytest.mark.parametrize("command", ["render", "check"])
def test_sketches_that_cannot_be_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, text: str | bytes, message: str
) -> None:
    take = take_file(tmp_path, notes())
    sketch = put(tmp_path / "sketch.toml", text if isinstance(text, bytes) else text.encode())
    more = (take, "-o", tmp_path / "out.wav") if command == "render" else ()
    line = complaint(ran(capsys, command, sketch, *more))
    assert "sketch.toml: " in line
    assert message in line
    assert len(line) < 400
    assert names(tmp_path) == ["sketch.toml", "take.wav"]


def test_all_faults_of_a_sketch_come_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, 'tempo = 9\nchain = ["gian"]\n[blocks.gain]\ngain_db = 99')
    run = ran(capsys, "check", sketch)
    assert run.code == 2
    assert run.out == ""
    assert len(run.err.splitlines()) == 3
    assert all(line.startswith("chainsim: sketch.toml: ") for line in run.err.splitlines())


def test_an_unreferenced_block_is_a_warning(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, CHAIN + '[blocks.spare]\ntype = "gain"\n')
    take = take_file(tmp_path, notes())
    run = ran(capsys, "render", sketch, take, "-o", tmp_path / "out.wav")
    assert run.code == 0
    assert "warning: blocks.spare: declared but in no chain; it does nothing" in run.err
    assert (tmp_path / "out.wav").is_file()


def test_a_cut_off_take_is_rendered_as_far_as_it_goes(
    tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = take_file(tmp_path, notes(seconds=2.0))
    whole.write_bytes(whole.read_bytes()[:-24_000])  # 6000 of 16000 frames of 4 bytes, at 8 kHz: 0.75 of 2 s
    run = ran(capsys, "render", sketch, whole, "-o", tmp_path / "out.wav")
    assert run.code == 0
    assert run.err.count("warning: ") == 1
    assert "2.00 s" in run.err
    assert "0.75 s" in run.err or "1.25 s" in run.err
    assert soundfile.info(tmp_path / "out.wav").frames == 10_000
    checked = ran(capsys, "check", sketch, "--take", whole)
    assert checked.code == 0
    assert "2.00 s" in checked.out


def test_outputs_that_cannot_be_written(tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = take_file(tmp_path, notes())
    content = take.read_bytes()
    assert "does not exist" in complaint(ran(capsys, "render", sketch, take, "-o", tmp_path / "absent" / "out.wav"))
    assert "is the take itself" in complaint(ran(capsys, "render", sketch, take, "-o", take))
    assert "two outputs would be one file" in complaint(
        ran(capsys, "render", sketch, take, "-o", tmp_path / "a.wav", "--probe", f"gate={tmp_path / 'a.wav'}")
    )
    assert "is the take itself" in complaint(
        ran(capsys, "render", sketch, take, "-o", tmp_path / "a.wav", "--probe", f"gate={take}")
    )
    assert "cannot write" in complaint(ran(capsys, "render", sketch, take, "-o", tmp_path / "out.aup"))
    assert "no such block" in complaint(
        ran(capsys, "render", sketch, take, "-o", tmp_path / "a.wav", "--probe", f"gaet={tmp_path / 'b.wav'}")
    )
    assert "existing folder" in complaint(ran(capsys, "render", sketch, take, take, "-o", tmp_path / "absent"))
    assert take.read_bytes() == content
    assert names(tmp_path) == ["sketch.toml", "take.wav"]


def test_the_sketch_is_never_written_over(tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = take_file(tmp_path, notes())
    complaint(ran(capsys, "render", sketch, take, "-o", sketch))
    assert sketch.read_text(encoding="utf-8") == CHAIN


def test_an_integer_file_over_full_scale_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sketch = sketch_file(tmp_path, 'chain = ["gain"]\n[blocks.gain]\ngain_db = 20')
    take = take_file(tmp_path, notes())
    out = tmp_path / "out.flac"
    assert "over the full scale" in complaint(ran(capsys, "render", sketch, take, "-o", out))
    assert names(tmp_path) == ["sketch.toml", "take.wav"]
    run = ran(capsys, "render", sketch, take, "-o", out, "--lower-to-fit")
    assert run.code == 0
    assert "lowered by" in run.out


@pytest.mark.parametrize("room", [0, 1_000, 100_000])
@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_a_full_disk_leaves_nothing(
    tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str], room: int, suffix: str
) -> None:
    take = take_file(tmp_path, notes())  # 32000 frames: 128 kB as floats
    ran(capsys, "render", sketch, take, "-o", tmp_path / "warm.wav")  # the kernels' cache is written without limits
    (tmp_path / "warm.wav").unlink()
    with room_for(room):
        run = ran(
            capsys, "render", sketch, take, "-o", tmp_path / f"out{suffix}", "--probe", f"gate={tmp_path / 'g.wav'}"
        )
    assert "cannot be written" in complaint(run)
    assert names(tmp_path) == ["sketch.toml", "take.wav"]


@pytest.mark.parametrize("as_often", [1, 3])
def test_an_interrupted_run_leaves_nothing(
    tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, as_often: int
) -> None:
    take = take_file(tmp_path, notes(seconds=12.0))
    older = tmp_path / "out.wav"
    older.write_bytes(b"an older render")
    stream = Engine.stream

    def interrupted(engine: Engine):  # type: ignore[no-untyped-def]
        for count, span in enumerate(stream(engine), start=1):
            yield span
            if count == as_often:
                raise KeyboardInterrupt

    monkeypatch.setattr(Engine, "stream", interrupted)
    run = ran(capsys, "render", sketch, take, "-o", older, "--probe", f"gate={tmp_path / 'g.wav'}", "--record")
    assert complaint(run, code=130) == "interrupted"
    assert older.read_bytes() == b"an older render"
    assert names(tmp_path) == ["out.wav", "sketch.toml", "take.wav"]


def test_one_bad_take_of_several_is_exit_code_1(
    tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good = take_file(tmp_path, notes())
    bad = put(tmp_path / "bad.wav", b"")
    (tmp_path / "rendered").mkdir()
    run = ran(capsys, "render", sketch, bad, good, "-o", tmp_path / "rendered")
    assert "bad.wav: is empty" in complaint(run, code=1)
    assert names(tmp_path / "rendered") == ["take.wav"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["rendre"], 'no command "rendre"; did you mean "render"?'),
        (["render"], "SKETCH"),
        (["check", "--tkae", "x"], "--tkae"),
        (["blocks", "gian"], 'did you mean "gain"?'),
        (["render", "a.toml", "b.wav", "-o", "c.wav", "--probe", "gate"], "WIRE=FILE"),
    ],
)
def test_bad_command_lines(capsys: pytest.CaptureFixture[str], arguments: list[str], message: str) -> None:
    assert message in complaint(ran(capsys, *arguments))


ODD_TAKES = {
    "silence": np.zeros((4_000, 1)),
    "one frame": np.ones((1, 1)),
    "dc": np.full((4_000, 2), 0.5),
    "full-scale square": np.sign(np.sin(2.0 * np.pi * 100.5 * np.arange(4_000) / 8_000))[:, None],
}


@pytest.mark.parametrize("samples", ODD_TAKES.values(), ids=ODD_TAKES)
def test_odd_sounds_are_rendered_and_checked(
    tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str], samples: np.ndarray
) -> None:
    take = take_file(tmp_path, samples)
    assert ran(capsys, "render", sketch, take, "-o", tmp_path / "out.wav").code == 0
    assert np.isfinite(soundfile.read(tmp_path / "out.wav")[0]).all()
    run = ran(capsys, "check", sketch, "--take", take)
    assert run.code == 0
    assert " nan" not in run.out
    assert " inf" not in run.out


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_sample_rate(tmp_path: Path, sketch: Path, capsys: pytest.CaptureFixture[str], rate_hz: int) -> None:
    take = take_file(tmp_path, notes(rate_hz, channels=2, seconds=2.0), rate_hz)
    assert ran(capsys, "render", sketch, take, "-o", tmp_path / "out.wav").code == 0
    y, out_rate_hz = soundfile.read(tmp_path / "out.wav")
    assert out_rate_hz == rate_hz
    assert np.isfinite(y).all()
    # lanes of 0 and -6 dB over the open gate
    assert np.abs(y).max() == pytest.approx(0.4 * (1.0 + 10 ** (-6 / 20)), rel=0.01)
    run = ran(capsys, "check", sketch, "--take", take)
    assert run.code == 0
    assert f"{rate_hz} Hz, stereo" in run.out
