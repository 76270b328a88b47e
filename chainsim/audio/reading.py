"""Takes: the dry recordings, read in spans of frames with constant memory, or held in an array."""

from __future__ import annotations

import hashlib
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from chainsim.audio.mpeg import with_length
from chainsim.audio.unpacking import cut_off, foreign_format, spelled_out, unpacked, unpacked_by_ffmpeg
from chainsim.audio.wav import declared_frames
from chainsim.errors import AudioError
from chainsim.units import Array, Audio

LOWEST_RATE_HZ = 8_000.0
HIGHEST_RATE_HZ = 192_000.0
MOST_CHANNELS = 2
_PLAIN_CONTAINERS = frozenset({"WAV", "WAVEX", "RF64", "W64", "AIFF", "AU", "CAF"})
_PLAIN_SAMPLES = frozenset({"PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "ULAW", "ALAW"})


class Take(Protocol):
    """What the engine needs of a take; `TakeReader` and `TakeArray` are both."""

    sample_rate_hz: float
    frames: int
    channels: int
    path: Path | None
    warnings: list[str]

    def read(self, first_frame: int, frames: int) -> Audio:
        """Samples of shape (channels, frames), float64, C-contiguous; zeros before 0 and past the end."""


class TakeReader:
    """An open audio file; `open_take` makes it, `with` or `close` ends it.

    Attributes
    ----------
    sample_rate_hz : float
    frames : int
        As many as can really be read.
    channels : int, 1 or 2
    path : Path
        As the user gave it.
    warnings : list of str
        One line each, such as how much of a cut-off file is missing.
    """

    path: Path | None

    def __init__(self, path: Path, sound: Any, warnings: list[str], resources: ExitStack) -> None:
        self.path = path
        self.sample_rate_hz = float(sound.samplerate)
        self.frames = int(sound.frames)
        self.channels = int(sound.channels)
        self.warnings = warnings
        self._sound = sound
        self._position = 0
        self._resources = resources

    def read(self, first_frame: int, frames: int) -> Audio:
        """Return a span of the take; spans that follow each other are read without seeking.

        Parameters
        ----------
        first_frame : int
            May be negative or past the end: there is silence.
        frames : int >= 0

        Returns
        -------
        ndarray, shape (channels, frames), float64, C-contiguous

        Raises
        ------
        AudioError
            If the file is damaged there or holds a sample that is not a finite number.
        """
        y = np.zeros((self.channels, frames))
        begin, end = _within(first_frame, frames, self.frames)
        if end > begin:
            x = self._samples(begin, end)
            _check_finite(x, begin, self.sample_rate_hz, str(self.path))
            y[:, begin - first_frame : end - first_frame] = x.T
        return y

    def _samples(self, begin: int, end: int) -> Array:
        import soundfile

        try:
            if begin != self._position:
                self._position = -1
                self._sound.seek(begin)
            x: Array = self._sound.read(end - begin, dtype="float64", always_2d=True)
        except soundfile.LibsndfileError as error:
            raise AudioError(f"{self.path}: cannot be read at {begin / self.sample_rate_hz:.3f} s: {error}") from error
        self._position = begin + len(x)
        if len(x) < end - begin:
            raise AudioError(f"{self.path}: ended while it was read, at {self._position / self.sample_rate_hz:.3f} s")
        return x

    def close(self) -> None:
        """Close the file and remove what was unpacked of it."""
        self._resources.close()

    def __enter__(self) -> TakeReader:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


class TakeArray:
    """A take that is already in memory, with the interface of `TakeReader`.

    Parameters
    ----------
    audio : ndarray of floats, shape (frames,) or (frames, channels)
        Full scale is 1.0; copied.
    sample_rate_hz : float, 8000 to 192000

    Raises
    ------
    AudioError
        If shape, rate or samples are not allowed.
    """

    path: Path | None = None

    def __init__(self, audio: npt.NDArray[np.floating[Any]], sample_rate_hz: float) -> None:
        samples = np.asarray(audio)
        if samples.ndim not in (1, 2) or not np.issubdtype(samples.dtype, np.floating):
            raise AudioError(
                f"array: {samples.ndim} dimensions of {samples.dtype}, allowed floats of full scale 1.0, "
                "shape (frames,) or (frames, channels)"
            )
        samples = samples.reshape(len(samples), -1) if samples.size else samples.reshape(0, 1)
        _check_layout("array", float(sample_rate_hz), samples.shape[1], len(samples))
        _check_finite(samples, 0, sample_rate_hz, "array")
        self.sample_rate_hz = float(sample_rate_hz)
        self.frames, self.channels = samples.shape
        self.warnings: list[str] = []
        self._x: Audio = np.array(samples.T, dtype=np.float64, order="C")

    def read(self, first_frame: int, frames: int) -> Audio:
        """Return a span of the take, as `TakeReader.read` does."""
        y = np.zeros((self.channels, frames))
        begin, end = _within(first_frame, frames, self.frames)
        y[:, begin - first_frame : end - first_frame] = self._x[:, begin:end]
        return y

    def close(self) -> None:
        """Do nothing."""

    def __enter__(self) -> TakeArray:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


def open_take(path: str | Path) -> TakeReader:
    """Open an audio file: WAV, FLAC, OGG, MP3, AIFF and, where ffmpeg is installed, what phones record.

    Raises
    ------
    AudioError
        If there is no such file, it is not audio, holds no sound, has more than two channels or a sample rate
        outside 8000 to 192000 Hz. A file that is cut off is opened, with a warning.
    """
    path = Path(path)
    _check_is_file(path)
    warnings: list[str] = []
    with ExitStack() as resources:
        container = foreign_format(path)
        source = path if container is None else resources.enter_context(unpacked_by_ffmpeg(path, container))
        sound = resources.enter_context(_open_sound(source, path))
        if sound.format in _PLAIN_CONTAINERS and sound.subtype in _PLAIN_SAMPLES:
            promised = declared_frames(source)
            if promised is not None and promised > sound.frames > 0:
                warnings.append(cut_off(path, sound.frames / sound.samplerate, promised / sound.samplerate))
        else:
            _check_layout(str(path), sound.samplerate, sound.channels, 1)
            if sound.format == "MP3":
                source = resources.enter_context(with_length(source))
            source, warning = resources.enter_context(unpacked(source, path))
            warnings += [warning] if warning else []
            sound = resources.enter_context(_open_sound(source, path))
        _check_layout(str(path), sound.samplerate, sound.channels, sound.frames)
        return TakeReader(path, sound, warnings, resources.pop_all())


def read_take(path: str | Path) -> tuple[Array, float, list[str]]:
    """Read a whole file: samples of shape (frames, channels), the sample rate in Hz, and warnings.

    Raises
    ------
    AudioError
        As `open_take` and `TakeReader.read` do.
    """
    with open_take(path) as take:
        return np.ascontiguousarray(take.read(0, take.frames).T), take.sample_rate_hz, take.warnings


def take_hash(path: str | Path) -> str:
    """SHA-256 of the file's bytes, in hexadecimal."""
    path = Path(path)
    _check_is_file(path)
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _check_is_file(path: Path) -> None:
    try:
        if path.is_dir():
            raise AudioError(f"{path}: is a folder, not an audio file")
        if not path.exists():
            raise AudioError(f"{path}: no such file")
        if not path.is_file():
            raise AudioError(f"{path}: is not a regular file")
        with path.open("rb") as file:
            if not file.read(1):
                raise AudioError(f"{path}: is empty (0 bytes)")
    except (OSError, ValueError) as error:
        raise AudioError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from error


def _open_sound(source: Path, path: Path) -> Any:
    import soundfile

    try:
        return soundfile.SoundFile(spelled_out(source))
    except soundfile.LibsndfileError as error:
        if path.suffix.lower() == ".toml":
            raise AudioError(f"{path}: this is a sketch, not a recording") from error
        with source.open("rb") as file:
            known = file.read(4) in (b"RIFF", b"RIFX", b"RF64", b"FORM", b"fLaC", b"OggS")
        reason = "its header is damaged or cut off" if known else "not an audio file, or of an unknown format"
        raise AudioError(f"{path}: cannot be read as sound: {reason}; WAV, FLAC, OGG, MP3 and AIFF can") from error


def _check_layout(name: str, sample_rate_hz: float, channels: int, frames: int) -> None:
    if frames == 0:
        raise AudioError(f"{name}: holds no sound (0 frames)")
    if channels > MOST_CHANNELS:
        raise AudioError(
            f"{name}: {channels} channels, allowed 1 or 2; mix it down to mono or stereo, "
            "or export only the channels of the horn"
        )
    if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
        raise AudioError(
            f"{name}: sample rate {sample_rate_hz:g} Hz, allowed {LOWEST_RATE_HZ:g} ... {HIGHEST_RATE_HZ:g} Hz"
        )


def _check_finite(x: npt.NDArray[Any], first_frame: int, sample_rate_hz: float, name: str) -> None:
    """Refuse samples, shape (frames, channels), that are not numbers."""
    finite = np.isfinite(x)
    if not finite.all():
        i, c = np.unravel_index(int(np.argmin(finite)), x.shape)
        second = (first_frame + int(i)) / sample_rate_hz
        raise AudioError(f"{name}: the sample at {second:.6f} s, channel {c + 1}, is {x[i, c]}: not a finite number")


def _within(first_frame: int, frames: int, total: int) -> tuple[int, int]:
    """The part of a span that lies in 0 ... total; empty ones lie inside the span, too."""
    begin = min(max(first_frame, 0), total)
    end = min(max(first_frame + frames, 0), total)
    return (begin, end) if end > begin else (first_frame, first_frame)
