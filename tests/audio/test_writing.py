"""Files written whole or not at all, and never clipped without a word."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.audio import encoding, wav, writing
from chainsim.audio.encoding import Quantizer
from chainsim.audio.reading import open_take, read_take
from chainsim.audio.wav import wav_header
from chainsim.audio.writing import TakeWriter, record_path, refuse_same_file, write_record, write_text_whole
from chainsim.errors import AudioError
from tests.audio.files import RATE_HZ, horn_like, loud_then_soft

INTEGER = [(".wav", "pcm24"), (".wav", "pcm16"), (".flac", "pcm24"), (".flac", "pcm16")]
ALL = [(".wav", "float32"), *INTEGER, (".ogg", None), (".mp3", None)]


def write(path: Path, x: np.ndarray, sample_format: str | None = None, chunk: int = 1000, **more: bool) -> TakeWriter:
    """Write samples of shape (frames, channels) in chunks."""
    with TakeWriter(path, RATE_HZ, x.shape[1], sample_format, **more) as writer:
        for at in range(0, len(x), chunk):
            writer.write(np.ascontiguousarray(x[at : at + chunk].T))
    return writer


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


@pytest.mark.parametrize("channels", [1, 2])
def test_float_wav_is_unscaled_and_unclipped(tmp_path: Path, channels: int) -> None:
    x = 5.0 * horn_like(channels=channels)
    writer = write(tmp_path / "out.wav", x)
    info = soundfile.info(tmp_path / "out.wav")
    assert (info.subtype, info.samplerate, info.channels, info.frames) == ("FLOAT", RATE_HZ, channels, 4410)
    # 5 x 16-bit codes have at most 19 significant bits: float32 (24) holds them
    np.testing.assert_array_equal(soundfile.read(tmp_path / "out.wav", always_2d=True)[0], x)
    assert writer.peak_db == pytest.approx(20 * math.log10(np.abs(x).max()))
    assert (writer.lowered_by_db, writer.frames) == (0.0, 4410)
    assert names(tmp_path) == ["out.wav"]


@pytest.mark.parametrize(("suffix", "sample_format"), [(".wav", "pcm24"), (".flac", "pcm24"), (".flac", None)])
@pytest.mark.parametrize("channels", [1, 2])
def test_24_bit_keeps_what_24_bits_hold(tmp_path: Path, suffix: str, sample_format: str | None, channels: int) -> None:
    x = horn_like(channels=channels)
    x[0] = -1.0
    path = tmp_path / f"out{suffix}"
    write(path, x, sample_format)
    assert soundfile.info(path).subtype == "PCM_24"
    np.testing.assert_array_equal(read_take(path)[0], x)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_16_bit_is_off_by_dither_and_rounding_at_most(tmp_path: Path, suffix: str) -> None:
    x = horn_like() + 0.3 / 32768
    path = tmp_path / f"out{suffix}"
    write(path, x, "pcm16")
    assert soundfile.info(path).subtype == "PCM_16"
    error = (read_take(path)[0] - x) * 32768
    assert 0.5 < np.abs(error).max() <= 1.5


def test_dithered_error_does_not_depend_on_the_signal() -> None:
    # Lipshitz, Wannamaker, Vanderkooy 1992: with triangular dither of 2 steps' width the total error has mean 0 and
    # variance 1/4 step^2 for every input. 40000 draws: standard errors 0.0025 for the mean, 0.002 for the variance.
    for level in (0.0, 0.25, 0.5, 0.9):
        x = np.full((40_000, 1), level / 32768)
        error = Quantizer("pcm16")(x) - level
        assert abs(error.mean()) < 0.01
        assert error.var() == pytest.approx(0.25, abs=0.01)


@pytest.mark.parametrize(("suffix", "sample_format"), [*INTEGER, (".wav", "float32"), (".mp3", None)])
def test_any_chunks_give_the_same_bytes(tmp_path: Path, suffix: str, sample_format: str | None) -> None:
    x = horn_like(frames=20_000)
    contents = set()
    for chunk in (20_000, 509, 7):
        path = tmp_path / f"out{chunk}{suffix}"
        write(path, x, sample_format, chunk)
        contents.add(path.read_bytes())
    assert len(contents) == 1


@pytest.mark.parametrize("suffix", [".ogg", ".mp3"])
def test_lossy_files_hold_all_of_it(tmp_path: Path, suffix: str) -> None:
    x = np.stack([loud_then_soft(), loud_then_soft()[::-1]], axis=1)
    path = tmp_path / f"out{suffix}"
    write(path, x)
    audio, rate_hz = soundfile.read(path)
    assert (audio.shape, rate_hz) == (x.shape, RATE_HZ)
    # where both channels hold a tone of 0.2 peak: the codecs' own error is 3 % of it, a dropout's 100 %
    tones = slice(3 * RATE_HZ, 5 * RATE_HZ)
    np.testing.assert_allclose(audio[tones], x[tones], atol=0.01)


@pytest.mark.parametrize(("suffix", "sample_format"), [*INTEGER, (".ogg", None), (".mp3", None)])
def test_over_full_scale_is_refused_with_its_peak(tmp_path: Path, suffix: str, sample_format: str | None) -> None:
    x = horn_like()
    x[100, 1] = -2.0
    path = tmp_path / f"out{suffix}"
    with pytest.raises(AudioError) as caught:
        write(path, x, sample_format)
    text = str(caught.value)
    # 20 log10 2 = 6.0206
    assert text.startswith(f"{path}: the peak is +6.02 dBFS")
    assert "lower" in text
    assert "\n" not in text
    assert names(tmp_path) == []


@pytest.mark.parametrize(("suffix", "sample_format"), INTEGER)
def test_lowering_says_by_how_much(tmp_path: Path, suffix: str, sample_format: str) -> None:
    x = 4.0 * horn_like()
    path = tmp_path / f"out{suffix}"
    writer = write(path, x, sample_format, lower_to_fit=True)
    audio = read_take(path)[0]
    assert writer.lowered_by_db == pytest.approx(20 * math.log10(np.abs(x).max()), abs=0.002)
    assert 0.999 < np.abs(audio).max() < 1.0
    np.testing.assert_allclose(audio, x * 10 ** (-writer.lowered_by_db / 20), atol=1.6 / 32768)
    same = write(tmp_path / f"quiet{suffix}", horn_like(), sample_format, lower_to_fit=True)
    assert same.lowered_by_db == 0.0


def test_full_scale_itself_is_allowed(tmp_path: Path) -> None:
    x = np.array([[1.0], [-1.0], [0.0]])
    write(tmp_path / "out.wav", x, "pcm24")
    np.testing.assert_array_equal(
        soundfile.read(tmp_path / "out.wav", dtype="int32")[0], [(2**23 - 1) * 256, -(2**31), 0]
    )
    write(tmp_path / "out16.wav", np.tile(x, (500, 1)), "pcm16")
    codes = soundfile.read(tmp_path / "out16.wav", dtype="int16")[0].astype(int)
    assert set(codes[0::3]) <= {32_766, 32_767}
    assert set(codes[1::3]) <= {-32_768, -32_767}


@pytest.mark.parametrize("bad", [np.nan, np.inf, 1e300])
def test_a_sample_that_is_no_number_leaves_nothing(tmp_path: Path, bad: float) -> None:
    x = horn_like(frames=RATE_HZ)
    x[22_050, 1] = bad
    with pytest.raises(AudioError, match=r"out\.wav: the sound at 0\.500000 s"):
        write(tmp_path / "out.wav", x)
    assert names(tmp_path) == []


@pytest.mark.parametrize(("suffix", "sample_format"), ALL)
def test_an_interrupt_leaves_the_older_file(tmp_path: Path, suffix: str, sample_format: str | None) -> None:
    path = tmp_path / f"out{suffix}"
    path.write_bytes(b"older")

    def interrupted() -> None:
        with TakeWriter(path, RATE_HZ, 1, sample_format) as writer:
            writer.write(np.zeros((1, 5000)))
            assert len(names(tmp_path)) == 2
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert names(tmp_path) == [path.name]
    assert path.read_bytes() == b"older"


@pytest.mark.parametrize(("suffix", "sample_format"), [*INTEGER, (".ogg", None), (".mp3", None)])
def test_an_interrupt_while_converting_leaves_nothing(
    tmp_path: Path, suffix: str, sample_format: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    kind = encoding.IntegerWav if suffix == ".wav" else encoding.Compressed
    done = kind.write

    def interrupted(file: encoding.Encoder, x: np.ndarray) -> None:
        done(file, x)
        raise KeyboardInterrupt

    monkeypatch.setattr(kind, "write", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write(tmp_path / f"out{suffix}", horn_like(), sample_format)
    assert names(tmp_path) == []


@contextmanager
def room_for(size_bytes: int) -> Iterator[None]:
    """Let no file grow over a size: the system's own write calls fail, as they do on a full disk."""
    resource = pytest.importorskip("resource", reason="no limits on file size on this system")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def noise(frames: int = 60_000) -> np.ndarray:
    """What no format makes small."""
    return np.random.default_rng(8).uniform(-0.9, 0.9, (frames, 2))


@pytest.mark.parametrize("room", [20, 10_000, 470_000])
@pytest.mark.parametrize(("suffix", "sample_format"), ALL)
def test_a_full_disk_is_one_line_and_leaves_nothing(
    tmp_path: Path, suffix: str, sample_format: str | None, room: int
) -> None:
    # the float file of 60000 stereo frames takes 480 kB
    path = tmp_path / f"out{suffix}"
    with room_for(room), pytest.raises(AudioError) as caught:
        write(path, noise(), sample_format)
    text = str(caught.value)
    assert text.startswith(f"{path}: cannot be written: ")
    assert "\n" not in text
    assert names(tmp_path) == []


@pytest.mark.parametrize("room", [0, 30, 100, 1000, 20_000])
@pytest.mark.parametrize(("suffix", "sample_format"), [*INTEGER, (".ogg", None), (".mp3", None)])
def test_a_disk_that_fills_up_while_converting(
    tmp_path: Path, suffix: str, sample_format: str | None, room: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    convert = TakeWriter._convert

    def with_little_room(writer: TakeWriter, target: Path, gain: float) -> None:
        with room_for(room):
            convert(writer, target, gain)

    monkeypatch.setattr(TakeWriter, "_convert", with_little_room)
    with pytest.raises(AudioError, match="cannot be written: File too large"):
        write(tmp_path / f"out{suffix}", noise(), sample_format)
    assert names(tmp_path) == []


def test_a_name_that_cannot_be_written_to_is_refused_at_once(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match=r"the folder .*absent does not exist"):
        TakeWriter(tmp_path / "absent" / "out.wav", RATE_HZ, 1)
    (tmp_path / "folder.wav").mkdir()
    with pytest.raises(AudioError, match="is a folder"):
        TakeWriter(tmp_path / "folder.wav", RATE_HZ, 1)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names on this system")
def test_what_is_not_a_regular_file_is_never_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.txt")
    with pytest.raises(AudioError, match="not a regular file"):
        write_text_whole(tmp_path / "pipe.txt", "")
    assert (tmp_path / "pipe.txt").is_fifo()


@pytest.mark.parametrize(
    ("name", "rate_hz", "sample_format", "text"),
    [
        ("out.wave", 44_100, None, r'cannot write "\.wave" files, allowed \.wav .*did you mean "\.wav"'),
        ("out", 44_100, None, "no ending that says its format"),
        ("out.flac", 44_100, "float32", r"allowed pcm24 \| pcm16"),
        ("out.ogg", 44_100, "pcm16", "lossy"),
        ("out.wav", 44_100, "pcm32", "did you mean"),
        ("out.wav", 44_100.5, None, "whole numbers"),
        ("out.mp3", 96_000, None, "MP3 allows .* 48000 Hz"),
    ],
)
def test_formats_that_will_not_do(
    tmp_path: Path, name: str, rate_hz: float, sample_format: str | None, text: str
) -> None:
    with pytest.raises(AudioError, match=text):
        TakeWriter(tmp_path / name, rate_hz, 1, sample_format)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 48_000, 88_200, 192_000])
@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg"])
def test_every_rate_of_a_take_can_be_written(tmp_path: Path, suffix: str, rate_hz: int) -> None:
    with TakeWriter(tmp_path / f"out{suffix}", rate_hz, 1) as writer:
        writer.write(horn_like(channels=1).T)
    with open_take(tmp_path / f"out{suffix}") as take:
        assert (take.sample_rate_hz, take.frames) == (rate_hz, 4410)


def test_a_chunk_of_another_shape_is_refused(tmp_path: Path) -> None:
    with (
        pytest.raises(AudioError, match=r"\(100, 2\), allowed \(2, frames\)"),
        TakeWriter(tmp_path / "out.wav", RATE_HZ, 2) as writer,
    ):
        writer.write(np.zeros((100, 2)))
    with pytest.raises(AudioError, match="not open"):
        TakeWriter(tmp_path / "out.wav", RATE_HZ, 2).write(np.zeros((2, 1)))
    assert names(tmp_path) == []


def test_over_4_gb_the_header_is_rf64(tmp_path: Path) -> None:
    # 2**32 / 8 frames of stereo floats pass the 32-bit limit. The file is a hole but for its last frame.
    frames = 2**29 + 10
    header = wav_header("float32", RATE_HZ, 2, frames)
    assert (header[:4], wav_header("float32", RATE_HZ, 2, 2**29 - 20)[:4]) == (b"RF64", b"RIFF")
    assert len(header) == len(wav_header("float32", RATE_HZ, 2, 0))
    path = tmp_path / "long.wav"
    with path.open("wb") as file:
        file.write(header)
        file.seek(len(header) + 8 * (frames - 1))
        file.write(np.array([0.25, -0.5], "<f4").tobytes())
    try:
        with open_take(path) as take:
            assert (take.frames, take.warnings) == (frames, [])
            np.testing.assert_array_equal(take.read(frames - 2, 3), [[0, 0.25, 0], [0, -0.5, 0]])
        os.truncate(path, len(header) + 8 * (frames - RATE_HZ))
        with open_take(path) as take:
            assert "1.00 s of" in take.warnings[0]
    finally:
        path.unlink()


@pytest.mark.parametrize("sample_format", ["float32", "pcm24"])
def test_the_writer_turns_to_rf64(tmp_path: Path, sample_format: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wav, "RIFF_LIMIT_BYTES", 5_000)
    x = horn_like(frames=3001, channels=1)
    write(tmp_path / "out.wav", x, sample_format)
    assert soundfile.info(tmp_path / "out.wav").format == "RF64"
    audio, _, warnings = read_take(tmp_path / "out.wav")
    np.testing.assert_array_equal(audio, x)
    assert warnings == []


def test_an_output_that_is_a_link_replaces_its_target(tmp_path: Path) -> None:
    target, link = tmp_path / "target.wav", tmp_path / "link.wav"
    target.write_bytes(b"older")
    link.symlink_to(target)
    write(link, horn_like())
    assert link.is_symlink()
    np.testing.assert_array_equal(read_take(target)[0], horn_like())


def test_a_take_is_never_written_over(tmp_path: Path) -> None:
    take, other = tmp_path / "take.wav", tmp_path / "other.wav"
    write(take, horn_like())
    (tmp_path / "link.wav").symlink_to(take)
    os.link(take, tmp_path / "hard.wav")
    (tmp_path / "sub").mkdir()
    for out in (take, tmp_path / "link.wav", tmp_path / "hard.wav", tmp_path / "sub" / ".." / "take.wav"):
        with pytest.raises(AudioError, match="is the take itself"):
            refuse_same_file(out, [other, take])
    refuse_same_file(other, [take])
    refuse_same_file(take, [other, tmp_path / "absent.wav"])


def test_texts_and_records_are_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "page.html"
    write_text_whole(path, "Möwe\nüber Saltmere\n")
    assert path.read_bytes() == "Möwe\nüber Saltmere\n".encode()
    record = {"loudness_lufs": -math.inf, "latency": np.float64(2.5), "steps": (1, np.int64(2)), "take": Path("a.wav")}
    write_record(record_path(tmp_path / "waltz.wav"), record)
    assert json.loads((tmp_path / "waltz.wav.json").read_text()) == {
        "loudness_lufs": None,
        "latency": 2.5,
        "steps": [1, 2],
        "take": "a.wav",
    }
    with room_for(10), pytest.raises(AudioError, match=r"page\.html: cannot be written"):
        write_text_whole(path, "longer than that" * 1000)
    assert path.read_text(encoding="utf-8").startswith("Möwe")
    with pytest.raises(AudioError, match="does not exist"):
        write_text_whole(tmp_path / "absent" / "page.html", "")
    assert names(tmp_path) == ["page.html", "waltz.wav.json"]


def test_importing_reads_no_sound_library() -> None:
    code = "import chainsim.audio.reading, chainsim.audio.writing, sys; sys.exit('soundfile' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
    assert set(writing.FORMATS) == {".wav", ".flac", ".ogg", ".mp3"}
