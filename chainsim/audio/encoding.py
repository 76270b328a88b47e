"""From float samples to what a file holds: integer codes, or a compressed stream through libsndfile.

Integer codes are round(x * 2**(bits - 1)), so that a file read and written again without change keeps its codes.
16 bit gets triangular dither of +-1 step, the sum of two uniform ones, from a fixed seed: the rounding error then has
no mean and no power that depend on the signal. 24 bit gets none: its steps lie below any recording's noise.

Source: S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, "Quantization and Dither: A Theoretical Survey",
J. Audio Eng. Soc. 40(5), 1992.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from chainsim.audio.wav import SampleFormat, WavWriter
from chainsim.units import Array

_BITS: dict[SampleFormat, int] = {"pcm24": 24, "pcm16": 16}
_DITHER_SEED = 16
_SUBTYPES = {"pcm24": "PCM_24", "pcm16": "PCM_16"}
_LOSSY = {".ogg": ("OGG", "VORBIS"), ".mp3": ("MP3", "MPEG_LAYER_III")}


class Quantizer:
    """Integer codes of float samples, in order; the same for any division into blocks."""

    def __init__(self, sample_format: SampleFormat) -> None:
        self.bits = _BITS[sample_format]
        self._random = np.random.default_rng(_DITHER_SEED) if sample_format == "pcm16" else None

    def __call__(self, x: Array) -> npt.NDArray[np.int32]:
        """Codes of samples of shape (frames, channels) within -1 ... 1.

        Full scale itself and dither above it are held at the outermost code: at most 2 steps.
        """
        steps = x * 2.0 ** (self.bits - 1)
        if self._random is not None:
            uniform = self._random.random((*x.shape, 2))
            steps += uniform[..., 0] - uniform[..., 1]
        top = 2 ** (self.bits - 1)
        return np.clip(np.rint(steps), -top, top - 1).astype(np.int32)


class Encoder(Protocol):
    """A file being filled with float samples of shape (frames, channels)."""

    def write(self, x: Array) -> None:
        """Append samples."""

    def close(self) -> None:
        """Complete the file; raises OSError if it could not all be written."""


class IntegerWav:
    """WAV of 16 or 24 bit."""

    def __init__(self, path: Path, sample_format: SampleFormat, sample_rate_hz: int, channels: int) -> None:
        self._quantize = Quantizer(sample_format)
        self._file = WavWriter(path, sample_format, sample_rate_hz, channels)

    def write(self, x: Array) -> None:
        """Append samples."""
        self._file.write(self._quantize(x))

    def close(self) -> None:
        """Complete the header."""
        self._file.close()


class Compressed:
    """FLAC (16 or 24 bit), Ogg Vorbis or MP3 through libsndfile.

    The file is opened here and not by libsndfile, which reports a full disk at some writes and not at others.
    """

    def __init__(
        self, path: Path, suffix: str, sample_format: SampleFormat | None, sample_rate_hz: int, channels: int
    ) -> None:
        import soundfile

        self._quantize = None if sample_format is None else Quantizer(sample_format)
        container, subtype = ("FLAC", _SUBTYPES[sample_format]) if sample_format else _LOSSY[suffix]
        self._file = _WatchedFile(path, "x+")
        try:
            self._sound = soundfile.SoundFile(
                self._file, "w", sample_rate_hz, channels, format=container, subtype=subtype
            )
        except soundfile.LibsndfileError as error:
            self._file.close()
            raise OSError(0, f"libsndfile: {error.error_string}") from error

    def write(self, x: Array) -> None:
        """Append samples; integer codes stand in the upper bits of int32, where libsndfile takes them unchanged."""
        samples: npt.NDArray[Any] = x
        if self._quantize is not None:
            samples = self._quantize(x) << (32 - self._quantize.bits)
        self._checked(lambda: self._sound.write(samples))

    def close(self) -> None:
        """Have libsndfile write what it still holds, and close."""
        try:
            self._checked(self._sound.close)
        finally:
            self._file.close()

    def _checked(self, action: Any) -> None:
        import soundfile

        try:
            action()
        except (soundfile.LibsndfileError, AssertionError) as error:
            raise self._file.fault or OSError(0, f"libsndfile: {error}") from error
        if self._file.fault is not None:
            raise self._file.fault


class _WatchedFile(io.FileIO):
    """A file that keeps the first fault of its writes, as an exception cannot pass through libsndfile."""

    fault: OSError | None = None

    def write(self, content: Any) -> int:
        view = memoryview(content).cast("B")
        done = 0
        try:
            while self.fault is None and done < len(view):
                done += super().write(view[done:])
        except OSError as error:
            self.fault = error
        return done


def encoder(path: Path, suffix: str, sample_format: SampleFormat | None, sample_rate_hz: int, channels: int) -> Encoder:
    """Open the second pass's file: floats, integers, or a lossy format where `sample_format` is None."""
    if sample_format == "float32":
        return WavWriter(path, sample_format, sample_rate_hz, channels)
    if suffix == ".wav" and sample_format is not None:
        return IntegerWav(path, sample_format, sample_rate_hz, channels)
    return Compressed(path, suffix, sample_format, sample_rate_hz, channels)
