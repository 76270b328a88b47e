"""Renders and texts onto the disk: whole or not at all, and never clipped without a word."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.audio.encoding import encoder
from chainsim.audio.wav import SampleFormat, WavWriter, wav_header
from chainsim.audio.whole import PartFile, writing
from chainsim.errors import AudioError, nearest
from chainsim.plain import json_text
from chainsim.units import Audio, db_to_gain, gain_to_db

FORMATS: dict[str, tuple[SampleFormat, ...]] = {
    ".wav": ("float32", "pcm24", "pcm16"),
    ".flac": ("pcm24", "pcm16"),
    ".ogg": (),
    ".mp3": (),
}
"""Sample formats by file suffix, the default first; the lossy ones have no choice."""

LOWERED_PEAK_DB = -0.001
"""Where lowering puts the peak: clear of full scale by more than the last steps of 16 bit."""

_MP3_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_BLOCK_FRAMES = 8192


class TakeWriter:
    """An audio file being written in chunks; it takes its name when it is whole.

    Anything but a float WAV is first written as one, hidden beside the final name, and converted at the end, when the
    peak is known. On any exception, also an interrupt, nothing is left. The same sound gives the same bytes, save
    for Ogg, whose streams carry a number of their own.

    Parameters
    ----------
    path : str or Path
        The suffix chooses the format: .wav, .flac, .ogg, .mp3.
    sample_rate_hz : float
        A whole number.
    channels : int
    sample_format : "float32", "pcm24" or "pcm16", optional
        By default float32 for WAV and pcm24 for FLAC.
    lower_to_fit : bool
        Lower the whole file, where float32 would not need it, so that a peak over full scale fits.

    Attributes
    ----------
    peak_db : float
        Largest sample so far, in dBFS, before any lowering.
    trim_db : float
        To be set before the end: what the whole file is raised by, or lowered.
    lowered_by_db : float
        By how much more the level was lowered at the end to fit; 0 if it was not.
    frames : int

    Raises
    ------
    AudioError
        For a format, rate or folder that will not do (at once), a sample that is not a finite number, a full disk, or,
        in any format but float32, a peak over full scale.
    """

    def __init__(
        self,
        path: str | Path,
        sample_rate_hz: float,
        channels: int,
        sample_format: SampleFormat | None = None,
        *,
        lower_to_fit: bool = False,
    ) -> None:
        self.path = Path(path)
        self.suffix = self.path.suffix.lower()
        self.sample_format = _sample_format(self.path, sample_format)
        self.sample_rate_hz = _whole_rate(self.path, sample_rate_hz)
        self.channels = channels
        self.trim_db = 0.0
        self.lowered_by_db = 0.0
        self._peak = 0.0
        self._lower_to_fit = lower_to_fit
        self._part = PartFile(self.path)
        self._wav: WavWriter | None = None

    @property
    def peak_db(self) -> float:
        """Largest sample so far, in dBFS."""
        return gain_to_db(self._peak)

    @property
    def frames(self) -> int:
        """Frames written so far."""
        return 0 if self._wav is None else self._wav.frames

    def write(self, x: Audio) -> None:
        """Append a chunk of shape (channels, frames)."""
        if self._wav is None:
            raise AudioError(f"{self.path}: is not open for writing")
        if x.ndim != 2 or x.shape[0] != self.channels:
            raise AudioError(f"{self.path}: a chunk of shape {x.shape}, allowed ({self.channels}, frames)")
        with np.errstate(over="ignore"):
            samples = x.T.astype(np.float32)
        peak = float(np.abs(samples).max(initial=0.0))
        if not math.isfinite(peak):
            i = self._wav.frames + int(np.argmin(np.isfinite(samples).all(axis=1)))
            raise AudioError(
                f"{self.path}: the sound at {i / self.sample_rate_hz:.6f} s is not a finite number; nothing was kept"
            )
        self._peak = max(self._peak, peak)
        with writing(self.path):
            self._wav.write(samples)

    def rest(self) -> None:
        """Close the hidden file until the end: nothing more is written, and many writers may wait together."""
        if self._wav is not None:
            with writing(self.path):
                self._wav.close()

    def __enter__(self) -> TakeWriter:
        with writing(self.path):
            try:
                self._wav = WavWriter(self._part.part, "float32", self.sample_rate_hz, self.channels)
            except BaseException:
                self._part.drop()
                raise
        return self

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        try:
            if kind is None:
                self._finish()
        finally:
            self._drop()

    def _finish(self) -> None:
        assert self._wav is not None
        with writing(self.path):
            self._wav.close()
        gain = db_to_gain(self.trim_db)
        if self.sample_format == "float32" and gain == 1.0:
            self._part.keep()
            return
        if self.sample_format != "float32":
            gain *= self._fitting_gain(gain)
        with PartFile(self.path) as converted, writing(self.path):
            self._convert(converted, gain)

    def _fitting_gain(self, trim: float) -> float:
        peak = self._peak * trim
        if peak <= 1.0:
            return 1.0
        if not self._lower_to_fit:
            raise AudioError(
                f"{self.path}: the peak is {gain_to_db(peak):+.2f} dBFS, over the full scale of "
                f"{self.sample_format or self.suffix[1:]}; write a 32-bit float WAV, lower a level, or have it lowered "
                "to fit; nothing was kept"
            )
        self.lowered_by_db = gain_to_db(peak) - LOWERED_PEAK_DB
        return db_to_gain(-self.lowered_by_db)

    def _convert(self, target: Path, gain: float) -> None:
        """Second pass: the float file, in blocks of a fixed size, into its final format."""
        head = len(wav_header("float32", self.sample_rate_hz, self.channels, 0))
        layout = (self.suffix, self.sample_format, self.sample_rate_hz, self.channels)
        with self._part.part.open("rb") as file, closing(encoder(target, *layout)) as output:
            file.seek(head)
            left = self.frames
            while left:
                n = min(left, _BLOCK_FRAMES)
                samples = np.fromfile(file, "<f4", n * self.channels).reshape(n, self.channels)
                output.write(samples.astype(np.float64) * gain)
                left -= n

    def _drop(self) -> None:
        if self._wav is not None:
            with suppress(OSError):
                self._wav.close()
        self._part.drop()


def write_text_whole(path: str | Path, text: str) -> None:
    """Write a UTF-8 text with line feeds, whole or not at all.

    Raises
    ------
    AudioError
        If it cannot be written.
    """
    with PartFile(path) as part, writing(Path(path)):
        part.write_text(text, encoding="utf-8", newline="\n")


def write_record(path: str | Path, record: Mapping[str, Any]) -> None:
    """Write a JSON record, whole or not at all; numbers that are not finite become null."""
    write_text_whole(path, json_text(record) + "\n")


def record_path(audio: str | Path) -> Path:
    """Where the record of a rendered file lies: `waltz.wav.json` beside `waltz.wav`."""
    audio = Path(audio)
    return audio.with_name(audio.name + ".json")


def refuse_same_file(out: str | Path, takes: Iterable[str | Path]) -> None:
    """Refuse to write over a take, also under another spelling or through a link.

    Raises
    ------
    AudioError
        If `out` is one of the `takes`.
    """
    out = Path(out)
    for take in map(Path, takes):
        with suppress(OSError):
            if out.samefile(take):
                raise AudioError(f"{out}: is the take itself ({take}); choose another name to write to")


def _sample_format(path: Path, chosen: SampleFormat | None) -> SampleFormat | None:
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        allowed_text = " | ".join(FORMATS) + nearest(suffix, FORMATS)
        what = f'cannot write "{suffix}" files' if suffix else "the name has no ending that says its format"
        raise AudioError(f"{path}: {what}, allowed {allowed_text}")
    allowed = FORMATS[suffix]
    if chosen is None:
        return allowed[0] if allowed else None
    if chosen not in allowed:
        what = " | ".join(allowed) or "no sample format: it is lossy"
        raise AudioError(
            f'{path}: sample format "{chosen}", allowed {what}{nearest(chosen, [f for f in allowed if f != chosen])}'
        )
    return chosen


def _whole_rate(path: Path, sample_rate_hz: float) -> int:
    if sample_rate_hz != int(sample_rate_hz):
        raise AudioError(f"{path}: sample rate {sample_rate_hz:g} Hz, allowed whole numbers")
    if path.suffix.lower() == ".mp3" and sample_rate_hz not in _MP3_RATES_HZ:
        rates = ", ".join(map(str, _MP3_RATES_HZ))
        raise AudioError(f"{path}: sample rate {sample_rate_hz:g} Hz, MP3 allows {rates} Hz")
    return int(sample_rate_hz)
