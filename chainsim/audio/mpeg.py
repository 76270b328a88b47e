"""MP3 files that do not say how long they are.

Without a length header libsndfile guesses the length from the first frame's bit rate and reads no further: of a file of
variable bit rate that begins loud, most would be lost without a word. Such files are counted here, frame by frame, and
read from a copy that has the missing header.

Sources: ISO/IEC 11172-3 and 13818-3, frame header of layer III; the "Xing" header that encoders put into
an empty first frame: after the side information, a name, flags (1: count of frames follows), the count.
"""

from __future__ import annotations

import mmap
import shutil
import struct
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from chainsim.errors import AudioError

_KBPS_1 = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 0)
_KBPS_2 = (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160, 0)
_RATES_HZ = (44_100, 48_000, 32_000, 0)
_RATE_DIVISORS = {3: 1, 2: 2, 0: 4}
"""By version bits: MPEG-1, MPEG-2, MPEG-2.5."""

_SAME_STREAM = 0xFFFE0C00
"""Bits that all headers of a stream share: sync, version, layer, sample rate."""


@dataclass(frozen=True)
class FrameHeader:
    """One layer III frame header."""

    word: int
    frame_bytes: int
    side_bytes: int


def frame_header(content: bytes) -> FrameHeader | None:
    """Read four bytes; None if they are not a layer III header of known bit rate."""
    if len(content) < 4:
        return None
    word = int.from_bytes(content[:4], "big")
    version, layer = word >> 19 & 3, word >> 17 & 3
    rate_hz = _RATES_HZ[word >> 10 & 3]
    if word >> 21 != 0x7FF or version == 1 or layer != 1 or not rate_hz:
        return None
    kbps = (_KBPS_1 if version == 3 else _KBPS_2)[word >> 12 & 15]
    if not kbps:
        return None
    mono = word >> 6 & 3 == 3
    side_bytes = (17 if mono else 32) if version == 3 else (9 if mono else 17)
    coefficient = 144 if version == 3 else 72
    frame_bytes = coefficient * kbps * 1000 // (rate_hz // _RATE_DIVISORS[version]) + (word >> 9 & 1)
    return FrameHeader(word, frame_bytes, side_bytes)


def length_header(path: Path) -> tuple[int, bytes] | None:
    """Where the sound begins, and the frame lacking there; None if the file tells its length, or is not layer III."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        at = _after_tags(content)
        first = frame_header(content[at : at + 4])
        if first is None:
            return None
        named = content[at + 4 + first.side_bytes : at + 8 + first.side_bytes]
        if named in (b"Xing", b"Info") or content[at + 36 : at + 40] == b"VBRI":
            return None
        count = _count(content, at, first.word)
    # bit rate 9 of the table, no padding, no checksum: room for the header in every version
    word = first.word & 0xFFFF0DFF | 0x00019000
    empty = frame_header(word.to_bytes(4, "big"))
    assert empty is not None
    tag = word.to_bytes(4, "big") + bytes(empty.side_bytes) + b"Xing" + struct.pack(">II", 1, count)
    return at, tag.ljust(empty.frame_bytes, b"\0")


@contextmanager
def with_length(path: Path) -> Iterator[Path]:
    """Yield the file itself, or a copy that tells its length and lives as long as the context."""
    lacking = length_header(path)
    if lacking is None:
        yield path
        return
    sound_at, header = lacking
    with tempfile.TemporaryDirectory(prefix="chainsim-") as folder:
        copy = Path(folder) / "take.mp3"
        try:
            with path.open("rb") as source, copy.open("xb") as target:
                target.write(header)
                source.seek(sound_at)
                shutil.copyfileobj(source, target)
        except OSError as error:
            raise AudioError(f"{path}: no room to copy it to {folder}: {error.strerror}") from error
        yield copy


def _after_tags(content: mmap.mmap) -> int:
    """Where the sound begins: ID3v2 tags give their length in four times seven bits."""
    at = 0
    while content[at : at + 3] == b"ID3" and len(content) >= at + 10:
        a, b, c, d = content[at + 6 : at + 10]
        at += 10 + (a << 21 | b << 14 | c << 7 | d)
    return at


def _count(content: mmap.mmap, at: int, first_word: int) -> int:
    """Frames from `at` on, looking for the next header where the stream is broken."""
    count = 0
    while True:
        found = frame_header(content[at : at + 4])
        if found is not None and (found.word ^ first_word) & _SAME_STREAM == 0:
            count += at + found.frame_bytes <= len(content)
            at += found.frame_bytes
            continue
        at = content.find(first_word.to_bytes(4, "big")[:2], at + 1)
        if at < 0:
            return count
