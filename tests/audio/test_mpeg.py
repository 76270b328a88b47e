"""MP3 files that do not say how long they are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from chainsim.audio.mpeg import frame_header, length_header
from chainsim.audio.reading import read_take
from tests.audio.files import RATE_HZ, loud_then_soft, put


@pytest.mark.parametrize(
    ("word", "frame_bytes", "side_bytes"),
    [
        # ISO 11172-3: 144 x 128000 / 44100 = 417.96, and one more with padding; side information 32, mono 17
        ("FFFB9064", 417, 32),
        ("FFFB9264", 418, 32),
        ("FFFB90C4", 417, 17),
        # 144 x 320000 / 48000
        ("FFFBE464", 960, 32),
        # ISO 13818-3: 72 x 64000 / 22050 = 208.98; MPEG-2.5: 72 x 8000 / 8000
        ("FFF38064", 208, 17),
        ("FFE318C4", 72, 9),
    ],
)
def test_frame_headers(word: str, frame_bytes: int, side_bytes: int) -> None:
    found = frame_header(bytes.fromhex(word))
    assert found is not None
    assert (found.frame_bytes, found.side_bytes) == (frame_bytes, side_bytes)


@pytest.mark.parametrize("word", ["", "FFFB", "52494646", "FFFD9064", "FFFB0064", "FFFBF064", "FFFB9C64", "FFEB9064"])
def test_what_is_no_frame_header(word: str) -> None:
    # too short; "RIFF"; layer II; free and forbidden bit rate; forbidden sample rate; forbidden version
    assert frame_header(bytes.fromhex(word)) is None


@pytest.mark.parametrize("tag", [b"", b"ID3\x04\0\0\0\0\x01\x02" + bytes(130)])
@pytest.mark.parametrize("mode", ["VARIABLE", "CONSTANT"])
def test_a_file_without_a_length_is_read_to_its_end(tmp_path: Path, tag: bytes, mode: str) -> None:
    # At variable bit rate, a length guessed from the loud beginning is far too short.
    x = loud_then_soft()
    path = tmp_path / "take.mp3"
    soundfile.write(path, x, RATE_HZ, bitrate_mode=mode, compression_level=0.3)
    whole = read_take(path)[0][:, 0]
    content = path.read_bytes()
    assert length_header(path) is None
    first = frame_header(content)
    assert first is not None
    assert content[4 + first.side_bytes :][:4] in (b"Xing", b"Info")
    bare = put(tmp_path / "bare.mp3", tag + content[first.frame_bytes :])
    audio, _, warnings = read_take(bare)
    assert warnings == []
    # Without its header the encoder's delay stays in front, and up to three frames of 1152 more in all.
    assert len(whole) <= len(audio[:, 0]) <= len(whole) + 3 * 1152
    lag = int(np.argmax(np.correlate(audio[:4000, 0], whole[:1000], "valid")))
    end = len(whole) - 2000
    assert np.abs(whole[end - 300 : end]).max() > 0.15
    np.testing.assert_allclose(audio[lag + 3000 : lag + end, 0], whole[3000:end], atol=1e-5)
