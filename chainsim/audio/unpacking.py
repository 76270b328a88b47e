"""Compressed takes, unpacked once into a temporary 32-bit float WAV file.

Only a full decode tells how long a cut-off file really is, and decoders that seek do not always give the same bits
as decoders that play through. Formats that libsndfile does not know (what phones record) go through ffmpeg, if it is
installed, as a separate program.
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from chainsim.audio.wav import WavWriter
from chainsim.errors import AudioError

FFMPEG_LIMIT_S = 600.0
_BLOCK_FRAMES = 1024


def spelled_out(path: Path) -> Path | bytes:
    """A file as soundfile opens it: its name may hold bytes that are no text."""
    return os.fsencode(path) if os.name == "posix" else path


@contextmanager
def unpacked(source: Path, path: Path) -> Iterator[tuple[Path, str | None]]:
    """Decode a compressed file; yields a WAV file that lives as long as the context, and a warning.

    Decoding stops where the stream is damaged; the warning says how much is missing. `path` is the name for messages.
    """
    import soundfile

    class Forward(soundfile.SoundFile):  # type: ignore[misc]
        """A file that is only played through: soundfile seeks after each read, after which MP3 may turn to zeros."""

        def seekable(self) -> bool:
            return False

    with tempfile.TemporaryDirectory(prefix="chainsim-") as folder, Forward(spelled_out(source)) as sound:
        target = Path(folder) / "take.wav"
        fault = ""
        try:
            with WavWriter(target, "float32", sound.samplerate, sound.channels) as writer:
                try:
                    while len(block := sound.read(_BLOCK_FRAMES, dtype="float32", always_2d=True)):
                        writer.write(block)
                except soundfile.LibsndfileError as error:
                    fault = _one_line(error.error_string)
        except OSError as error:
            raise AudioError(f"{path}: no room to unpack it in {folder}: {error.strerror}") from error
        yield target, _missing(path, writer.frames, sound, fault)


def _missing(path: Path, frames: int, sound: Any, fault: str) -> str | None:
    """Say how much less than promised there is; a stream of unknown length promises 2**63 - 1 frames, or none."""
    there_s = frames / sound.samplerate
    if frames < sound.frames < 2**62:
        whole_s = sound.frames / sound.samplerate
        return cut_off(path, there_s, whole_s)
    if fault:
        return f"{path}: is damaged after {there_s:.2f} s ({fault}); what comes before is used"
    if sound.format == "OGG" and not _ogg_has_end(path):
        return f"{path}: is cut off: its last page is missing; the {there_s:.2f} s that are there are used"
    return None


def cut_off(path: Path, there_s: float, whole_s: float) -> str:
    """The warning for a file that is shorter than it says."""
    return (
        f"{path}: is cut off or damaged: {whole_s - there_s:.2f} s of {whole_s:.2f} s are missing; "
        f"the {there_s:.2f} s that are there are used"
    )


def _ogg_has_end(path: Path) -> bool:
    """Whether the last page carries the end-of-stream flag (RFC 3533: bit 2 of the sixth byte)."""
    with path.open("rb") as file:
        file.seek(-min(path.stat().st_size, 2**17), 2)
        tail = file.read()
    page = tail.rfind(b"OggS")
    return page >= 0 and len(tail) > page + 5 and bool(tail[page + 5] & 4)


def foreign_format(path: Path) -> str | None:
    """Name, as ffmpeg has it, of a container that libsndfile cannot read; None for all others.

    Told by content and not by name, so that nothing but a known container ever reaches the decoder.
    """
    with path.open("rb") as file:
        head = file.read(16)
    if head[4:8] == b"ftyp":
        return "mov"
    if head[:6] == b"#!AMR\n" or head[:9] == b"#!AMR-WB\n":
        return "amr"
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return "matroska"
    if head[:4] == b"\x30\x26\xb2\x75":
        return "asf"
    # ADTS: twelve bits of ones, then a layer of 0, which MPEG audio files never have
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
        return "aac"
    return None


@contextmanager
def unpacked_by_ffmpeg(path: Path, container: str) -> Iterator[Path]:
    """Decode the first sound track with the installed ffmpeg; yields a WAV file that lives as long as the context."""
    program = shutil.which("ffmpeg")
    if program is None:
        command = shlex.join(["ffmpeg", "-i", str(path), str(path.with_suffix(".wav"))])
        raise AudioError(
            f"{path}: is in a format that only ffmpeg reads here, and it is not installed; "
            f"install it and try again, or convert the take where it is: {command}"
        )
    with tempfile.TemporaryDirectory(prefix="chainsim-") as folder:
        target = Path(folder) / "take.wav"
        quiet = [program, "-nostdin", "-hide_banner", "-v", "error"]
        source = ["-protocol_whitelist", "file", "-f", container, "-i", f"file:{path.resolve()}"]
        result = ["-map", "0:a:0", "-c:a", "pcm_f32le", "-f", "wav", "-rf64", "auto", f"file:{target}"]
        try:
            done = subprocess.run(
                quiet + source + result,
                stdin=subprocess.DEVNULL,
                capture_output=True,
                timeout=FFMPEG_LIMIT_S,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise AudioError(f"{path}: ffmpeg took longer than {FFMPEG_LIMIT_S:g} s to decode it") from error
        except OSError as error:
            raise AudioError(f"{path}: ffmpeg could not be started: {error.strerror}") from error
        if done.returncode != 0 or not target.is_file():
            reason = _one_line(done.stderr.decode(errors="replace")) or f"exit code {done.returncode}"
            raise AudioError(f"{path}: ffmpeg cannot decode it: {reason}")
        yield target


def _one_line(text: str) -> str:
    """The first line that says anything, at a length fit for a message."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[0][:200].rstrip(".") if lines else ""
