"""The WAV container: what a header declares, and a writer that turns to RF64 where 32-bit sizes end.

libsndfile reads a cut-off file as a shorter one, so what the header promised is read here. Its own float WAV writer
stamps the time of day into the file; this one makes the same bytes of the same sound.

Sources: Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (RIFF, WAVE); EBU Tech 3306
(RF64: sizes of all ones, the true ones in a ds64 chunk that takes a JUNK chunk's place); Apple, AIFF 1.3.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np
import numpy.typing as npt

SampleFormat = Literal["float32", "pcm24", "pcm16"]

SAMPLE_BYTES: dict[SampleFormat, int] = {"float32": 4, "pcm24": 3, "pcm16": 2}
RIFF_LIMIT_BYTES = 2**32 - 1
_FORMAT_TAGS: dict[SampleFormat, int] = {"float32": 3, "pcm24": 1, "pcm16": 1}
_UNKNOWN = 0xFFFFFFFF


def wav_header(sample_format: SampleFormat, sample_rate_hz: int, channels: int, frames: int) -> bytes:
    """Everything of a WAV file before its samples; its length does not depend on `frames`."""
    frame_bytes = SAMPLE_BYTES[sample_format] * channels
    data_bytes = frames * frame_bytes
    fmt = struct.pack(
        "<4sIHHIIHHH",
        b"fmt ",
        18,
        _FORMAT_TAGS[sample_format],
        channels,
        sample_rate_hz,
        sample_rate_hz * frame_bytes,
        frame_bytes,
        8 * SAMPLE_BYTES[sample_format],
        0,
    )
    fact = struct.pack("<4sII", b"fact", 4, min(frames, _UNKNOWN))
    # "WAVE", the 36 bytes of JUNK or ds64, and the head of the data chunk
    riff_bytes = 4 + 36 + len(fmt) + len(fact) + 8 + data_bytes + data_bytes % 2
    if riff_bytes <= RIFF_LIMIT_BYTES:
        top = struct.pack("<4sI4s4sI28x", b"RIFF", riff_bytes, b"WAVE", b"JUNK", 28)
        return top + fmt + fact + struct.pack("<4sI", b"data", data_bytes)
    top = struct.pack("<4sI4s4sIQQQI", b"RF64", _UNKNOWN, b"WAVE", b"ds64", 28, riff_bytes, data_bytes, frames, 0)
    return top + fmt + fact + struct.pack("<4sI", b"data", _UNKNOWN)


class WavWriter:
    """Samples into a new WAV file, in order; the header is completed at close.

    Parameters
    ----------
    path : Path
        Must not exist.
    sample_format : "float32", "pcm24" or "pcm16"
    sample_rate_hz, channels : int

    Raises
    ------
    OSError
        From the constructor, `write` and `close`, as the system gives it.
    """

    def __init__(self, path: Path, sample_format: SampleFormat, sample_rate_hz: int, channels: int) -> None:
        self.frames = 0
        self._layout = (sample_format, sample_rate_hz, channels)
        self._file = path.open("xb")
        try:
            self._file.write(wav_header(*self._layout, 0))
        except BaseException:
            self._file.close()
            raise

    def write(self, samples: npt.NDArray[Any]) -> None:
        """Append samples of shape (frames, channels): floats for float32, integer codes for pcm24 and pcm16."""
        sample_format = self._layout[0]
        if sample_format == "pcm24":
            wide = np.ascontiguousarray(samples, dtype="<i4")
            packed = wide.reshape(-1, 1).view(np.uint8)[:, :3].tobytes()
        else:
            packed = samples.astype("<f4" if sample_format == "float32" else "<i2", order="C").tobytes()
        self._file.write(packed)
        self.frames += len(samples)

    def close(self) -> None:
        """Write the true lengths into the header and close; nothing happens the second time."""
        if self._file.closed:
            return
        sample_format, _, channels = self._layout
        with self._file:
            if self.frames * SAMPLE_BYTES[sample_format] * channels % 2:
                self._file.write(b"\0")
            self._file.seek(0)
            self._file.write(wav_header(*self._layout, self.frames))

    def __enter__(self) -> WavWriter:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


def declared_frames(path: Path) -> int | None:
    """Frames that the header of an uncompressed WAV, RF64 or AIFF file promises; None if it does not say."""
    with path.open("rb") as file:
        kind = file.read(4)
        order = ">" if kind in (b"RIFX", b"FORM") else "<"
        if kind not in (b"RIFF", b"RIFX", b"RF64", b"FORM"):
            return None
        frame_bytes, long_size = 0, None
        for name, size in _chunks(file, order):
            if name == b"COMM":
                return _number(file, 2, order + "I")
            if name == b"ds64":
                long_size = _number(file, 8, "<Q")
            elif name == b"fmt ":
                frame_bytes = _number(file, 12, order + "H") or 0
            elif name == b"data":
                true_size = long_size if size == _UNKNOWN else size
                return None if true_size is None or not frame_bytes else true_size // frame_bytes
    return None


def _chunks(file: BinaryIO, order: str) -> Iterator[tuple[bytes, int]]:
    """Name and size of each chunk, with `file` at the beginning of its content."""
    start = 12
    while True:
        file.seek(start)
        head = file.read(8)
        if len(head) < 8:
            return
        name, size = struct.unpack(order + "4sI", head)
        yield name, size
        start += 8 + size + size % 2


def _number(file: BinaryIO, offset: int, layout: str) -> int | None:
    """One number, `offset` bytes from here."""
    file.seek(offset, 1)
    content = file.read(struct.calcsize(layout))
    return int(struct.unpack(layout, content)[0]) if len(content) == struct.calcsize(layout) else None
