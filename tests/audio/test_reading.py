"""Takes: what is read, and the one line each bad file gets."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.audio import unpacking
from chainsim.audio.reading import TakeArray, open_take, read_take, take_hash
from chainsim.errors import AudioError
from tests.audio.files import RATE_HZ, horn_like, loud_then_soft, put, raw_wav

EXACT = [
    (".wav", "PCM_16"),
    (".wav", "PCM_24"),
    (".wav", "FLOAT"),
    (".flac", "PCM_16"),
    (".flac", "PCM_24"),
    (".aiff", "PCM_24"),
    (".caf", "PCM_16"),
]
LOSSY = [(".ogg", "VORBIS"), (".mp3", "MPEG_LAYER_III")]


def one_line(path: Path | str) -> str:
    with pytest.raises(AudioError) as caught, open_take(path) as take:
        take.read(0, take.frames)
    text = str(caught.value)
    assert "\n" not in text
    assert text.startswith(f"{path}: ")
    return text


@pytest.mark.parametrize(("suffix", "subtype"), EXACT)
@pytest.mark.parametrize("channels", [1, 2])
def test_lossless_formats_give_the_samples_that_were_put_in(
    tmp_path: Path, suffix: str, subtype: str, channels: int
) -> None:
    # 16-bit codes divided by 32768: every one of these formats holds them exactly. libsndfile scales integer output
    # by 32767, so they go in as codes.
    x = horn_like(channels=channels)
    path = tmp_path / f"take{suffix}"
    soundfile.write(path, x if subtype == "FLOAT" else (x * 2**31).astype(np.int32), RATE_HZ, subtype=subtype)
    audio, rate_hz, warnings = read_take(path)
    assert (rate_hz, warnings) == (44_100.0, [])
    assert audio.dtype == np.float64
    np.testing.assert_array_equal(audio, x)


@pytest.mark.parametrize("mode", ["VARIABLE", "CONSTANT"])
@pytest.mark.parametrize(("suffix", "subtype"), LOSSY)
def test_lossy_formats_are_read_to_the_end(tmp_path: Path, suffix: str, subtype: str, mode: str) -> None:
    x = loud_then_soft()
    path = tmp_path / f"take{suffix}"
    how = {"bitrate_mode": mode, "compression_level": 0.3} if suffix == ".mp3" else {}
    soundfile.write(path, x, RATE_HZ, subtype=subtype, **how)
    audio, _, warnings = read_take(path)
    assert warnings == []
    assert audio.shape == (len(x), 1)
    # What the library gives in a single read; and, where the tone is (0.2 peak), what was put in, but for the codec's
    # own 2 % error: a dropout would be off by 100 %.
    np.testing.assert_allclose(audio[:, 0], soundfile.read(path)[0], atol=1e-6)
    np.testing.assert_allclose(audio[3 * RATE_HZ : -2000, 0], x[3 * RATE_HZ : -2000], atol=0.01)


@pytest.mark.parametrize(("suffix", "subtype"), EXACT + LOSSY)
def test_any_division_into_spans_gives_the_same_bits(tmp_path: Path, suffix: str, subtype: str) -> None:
    path = tmp_path / f"take{suffix}"
    soundfile.write(path, horn_like(frames=9000, channels=2), RATE_HZ, subtype=subtype)
    with open_take(path) as take:
        whole = take.read(0, take.frames)
        for span in (509, 4096):
            parts = [take.read(at, span) for at in range(0, take.frames, span)]
            assert np.concatenate(parts, axis=1)[:, : take.frames].tobytes() == whole.tobytes()
        np.testing.assert_array_equal(take.read(5000, 77), whole[:, 5000:5077])


@pytest.mark.parametrize("in_memory", [False, True])
def test_outside_the_take_there_is_silence(tmp_path: Path, in_memory: bool) -> None:
    x = horn_like(frames=100)
    path = put(tmp_path / "take.wav", raw_wav(x.astype(np.float32)))
    with TakeArray(x, RATE_HZ) if in_memory else open_take(path) as take:
        assert (take.frames, take.channels, take.sample_rate_hz) == (100, 2, 44_100.0)
        y = take.read(-10, 130)
        assert y.shape == (2, 130)
        assert y.flags.c_contiguous
        np.testing.assert_array_equal(y, np.pad(x.T, ((0, 0), (10, 20))))
        for first, frames in ((-50, 20), (100, 5), (500, 5), (0, 0), (-3, 3)):
            np.testing.assert_array_equal(take.read(first, frames), np.zeros((2, frames)))


def test_spans_that_follow_each_other_do_not_seek(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path / "take.wav", raw_wav(horn_like(frames=1000).astype(np.float32)))
    sought: list[int] = []
    seek = soundfile.SoundFile.seek

    def noting_jumps(sound: soundfile.SoundFile, frame: int, whence: int = 0) -> int:
        if whence == 0 and frame != seek(sound, 0, 1):
            sought.append(frame)
        return seek(sound, frame, whence)

    with open_take(path) as take:
        monkeypatch.setattr(soundfile.SoundFile, "seek", noting_jumps)
        for at in range(0, 1200, 100):
            take.read(at, 100)
        assert sought == []
        take.read(300, 100)
        assert sought == [300]


def test_links_are_followed(tmp_path: Path) -> None:
    path = put(tmp_path / "take.wav", raw_wav(horn_like().astype(np.float32)))
    link = tmp_path / "link.wav"
    link.symlink_to(path)
    np.testing.assert_array_equal(read_take(link)[0], read_take(path)[0])
    path.unlink()
    assert "no such file" in one_line(link)


def test_bad_files_get_one_line(tmp_path: Path) -> None:
    assert "no such file" in one_line(tmp_path / "absent.wav")
    assert "is a folder" in one_line(tmp_path)
    assert "is empty" in one_line(put(tmp_path / "empty.wav", b""))
    assert "not an audio file" in one_line(put(tmp_path / "text.wav", b"Saltmere, second set\n" * 50))
    assert "0 frames" in one_line(put(tmp_path / "none.wav", raw_wav(np.zeros((0, 1), np.float32))))
    one_line("nul\0byte.wav")
    whole = raw_wav(horn_like().astype(np.float32))
    for length in (4, 20, 30, 40):
        assert "header is damaged or cut off" in one_line(put(tmp_path / f"head{length}.wav", whole[:length]))
    assert "0 frames" in one_line(put(tmp_path / "head44.wav", whole[:44]))


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg"])
def test_eight_channels_are_refused_with_advice(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"eight{suffix}"
    soundfile.write(path, horn_like(frames=8000, channels=8), RATE_HZ)
    text = one_line(path)
    assert "8 channels, allowed 1 or 2" in text
    assert "mix it down" in text


@pytest.mark.parametrize(("rate_hz", "good"), [(7999, False), (8000, True), (192_000, True), (192_001, False)])
def test_sample_rates(tmp_path: Path, rate_hz: int, good: bool) -> None:
    path = put(tmp_path / "rate.wav", raw_wav(horn_like().astype(np.float32), rate_hz))
    if good:
        assert read_take(path)[1] == rate_hz
    else:
        assert f"sample rate {rate_hz} Hz, allowed 8000 ... 192000 Hz" in one_line(path)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_sample_that_is_no_number_is_placed_in_seconds(tmp_path: Path, bad: float) -> None:
    x = horn_like(frames=2 * RATE_HZ).astype(np.float32)
    x[66_150, 1] = bad
    path = put(tmp_path / "bad.wav", raw_wav(x))
    assert "1.500000 s, channel 2" in one_line(path)
    with open_take(path) as take:
        assert np.isfinite(take.read(0, 66_150)).all()
        with pytest.raises(AudioError, match=r"1\.500000 s"):
            take.read(66_100, 100)
    with pytest.raises(AudioError, match=r"array: the sample at 1\.500000 s, channel 2"):
        TakeArray(x, RATE_HZ)


@pytest.mark.parametrize(("format_", "subtype"), [("WAV", "PCM_16"), ("RF64", "FLOAT"), ("AIFF", "PCM_24")])
def test_a_file_cut_off_says_how_much_is_missing(tmp_path: Path, format_: str, subtype: str) -> None:
    x = horn_like(frames=2 * RATE_HZ, channels=2)
    path = tmp_path / "cut.wav"
    soundfile.write(path, (x * 2**31).astype(np.int32), RATE_HZ, format=format_, subtype=subtype)
    whole, _, warnings = read_take(path)
    assert warnings == []
    frame_bytes = {"PCM_16": 4, "PCM_24": 6, "FLOAT": 8}[subtype]
    os.truncate(path, path.stat().st_size - RATE_HZ // 2 * frame_bytes - 1)
    audio, _, warnings = read_take(path)
    assert len(warnings) == 1
    assert "0.50 s of 2.00 s are missing" in warnings[0]
    assert len(audio) == pytest.approx(1.5 * RATE_HZ, abs=2)
    np.testing.assert_array_equal(audio, whole[: len(audio)])


@pytest.mark.parametrize(("suffix", "subtype"), [(".flac", "PCM_16"), *LOSSY])
def test_a_compressed_file_cut_off_is_used_as_far_as_it_goes(tmp_path: Path, suffix: str, subtype: str) -> None:
    path = tmp_path / f"cut{suffix}"
    soundfile.write(path, horn_like(frames=10 * RATE_HZ, channels=1), RATE_HZ, subtype=subtype)
    whole = read_take(path)[0]
    os.truncate(path, path.stat().st_size // 2)
    audio, _, warnings = read_take(path)
    assert len(warnings) == 1
    assert "cut off" in warnings[0]
    assert 3 * RATE_HZ < len(audio) < 7 * RATE_HZ
    # all but the last frames, where a decoder has lost its next one, are those of the whole file
    keep = len(audio) - 4096
    np.testing.assert_allclose(audio[:keep], whole[:keep], atol=1e-6)


def test_a_header_that_leaves_the_length_open_is_no_fault(tmp_path: Path) -> None:
    # What programs write that stream a WAV into a pipe: sizes of all ones.
    content = bytearray(raw_wav(horn_like().astype(np.float32)))
    content[4:8] = content[40:44] = b"\xff\xff\xff\xff"
    audio, _, warnings = read_take(put(tmp_path / "piped.wav", bytes(content)))
    assert (len(audio), warnings) == (4410, [])


def test_no_permission_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path / "locked.wav", raw_wav(horn_like().astype(np.float32)))

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", refuse)
    assert "cannot be read: Permission denied" in one_line(path)


@pytest.mark.parametrize(
    ("audio", "rate_hz", "text"),
    [
        (np.zeros((0,)), 44_100, "0 frames"),
        (np.zeros((10, 8)), 44_100, "8 channels, allowed 1 or 2"),
        (np.zeros((10, 2, 2)), 44_100, "shape"),
        (np.zeros(10, np.int16), 44_100, "int16"),
        (np.zeros(10), 4_000, "sample rate 4000 Hz"),
        (np.zeros(10), np.nan, "sample rate nan Hz"),
    ],
)
def test_bad_arrays(audio: np.ndarray, rate_hz: float, text: str) -> None:
    with pytest.raises(AudioError, match=text):
        TakeArray(audio, rate_hz)


def test_an_array_is_copied_and_may_be_flat() -> None:
    x = np.linspace(-1, 1, 9, dtype=np.float32)
    take = TakeArray(x, 48_000)
    x[:] = 0
    np.testing.assert_array_equal(take.read(0, 9), [np.linspace(-1, 1, 9, dtype=np.float32).astype(np.float64)])


def test_hash_is_that_of_the_bytes(tmp_path: Path) -> None:
    # "abc": FIPS 180-4 example
    path = put(tmp_path / "abc", b"abc")
    assert take_hash(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    wav = put(tmp_path / "take.wav", raw_wav(horn_like().astype(np.float32)))
    assert take_hash(wav) == hashlib.sha256(wav.read_bytes()).hexdigest()
    with pytest.raises(AudioError, match="no such file"):
        take_hash(tmp_path / "absent")


# What phones record

PHONE = b"\0\0\0\x20ftypM4A \0\0\0\0M4A mp42isom" + bytes(200)


def stand_in(folder: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> None:
    """Put a program named ffmpeg, of our own, first on the search path."""
    program = folder / "ffmpeg"
    program.write_text(f"#!{sys.executable}\nimport sys\n{body}\n")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", str(folder))


def test_without_a_decoder_the_line_says_how_to_convert(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    path = put(tmp_path / "my take.m4a", PHONE)
    assert f"ffmpeg -i '{path}' '{tmp_path / 'my take.wav'}'" in one_line(path)


posix = pytest.mark.skipif(os.name == "nt", reason="the stand-in is a script with a #! line")


@posix
def test_a_decoder_is_called_with_files_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    x = horn_like().astype(np.float32)
    put(tmp_path / "decoded", raw_wav(x))
    called = tmp_path / "called"
    stand_in(
        tmp_path,
        monkeypatch,
        f"import pathlib\npathlib.Path({str(called)!r}).write_text('\\n'.join(sys.argv[1:]))\n"
        f"pathlib.Path(sys.argv[-1].removeprefix('file:')).write_bytes(pathlib.Path({str(tmp_path / 'decoded')!r})"
        ".read_bytes())",
    )
    path = put(tmp_path / "-i; echo.m4a", PHONE)
    with open_take(path) as take:
        np.testing.assert_array_equal(take.read(0, take.frames), x.T)
    arguments = called.read_text().splitlines()
    assert f"file:{path}" in arguments
    assert arguments[arguments.index("-protocol_whitelist") + 1] == "file"
    assert not Path(arguments[-1].removeprefix("file:")).exists()


@posix
def test_a_decoder_that_fails_or_hangs_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path / "take.m4a", PHONE)
    stand_in(tmp_path, monkeypatch, "print('moov atom not found\\nmore', file=sys.stderr)\nsys.exit(1)")
    assert "ffmpeg cannot decode it: moov atom not found" in one_line(path)
    stand_in(tmp_path, monkeypatch, "import time\ntime.sleep(30)")
    monkeypatch.setattr(unpacking, "FFMPEG_LIMIT_S", 0.2)
    assert "took longer than 0.2 s" in one_line(path)


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed")
@pytest.mark.parametrize("suffix", [".m4a", ".aac", ".mka"])
def test_aac_through_the_real_decoder(tmp_path: Path, suffix: str) -> None:
    x = loud_then_soft(4)[:, None]
    wav = put(tmp_path / "take.wav", raw_wav(x.astype(np.float32)))
    path = tmp_path / f"take{suffix}"
    subprocess.run(["ffmpeg", "-v", "error", "-i", wav, "-c:a", "aac", "-b:a", "128k", path], check=True)
    audio, rate_hz, _ = read_take(path)
    assert rate_hz == RATE_HZ
    # AAC works in frames of 1024; a bare stream keeps its encoder's delay of one or two
    assert len(x) <= len(audio) <= len(x) + 4 * 1024
    lag = int(np.argmax(np.correlate(audio[:6000, 0], x[:1000, 0], "valid")))
    tone = slice(3 * RATE_HZ, 3 * RATE_HZ + 40_000)
    np.testing.assert_allclose(audio[lag:][tone], x[tone], atol=0.01)
    os.truncate(path, 300)
    with pytest.raises(AudioError, match="take"):
        read_take(path)
