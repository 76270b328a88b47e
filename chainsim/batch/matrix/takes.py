"""Takes that are to be sent through: those of a folder, and which of them can be."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from chainsim.audio.reading import open_take, take_hash
from chainsim.errors import AudioError

SUFFIXES = (
    ".wav", ".wave", ".bwf", ".w64", ".rf64", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".aif", ".aiff", ".aifc",
    ".caf", ".au", ".snd", ".m4a", ".mp4", ".aac", ".3gp", ".amr", ".webm", ".wma",
)  # fmt: skip
"""Endings of files that are taken for sound; what else lies in the folder is not looked at."""


def takes_in(folder: Path) -> list[Path]:
    """Audio files of a folder by name; hidden ones, and folders in it, are left out.

    Raises
    ------
    AudioError
        If it cannot be read, or holds none.
    """
    try:
        found = sorted(
            path
            for path in folder.iterdir()
            if path.suffix.lower() in SUFFIXES and not path.name.startswith(".") and not path.is_dir()
        )
    except (OSError, ValueError) as error:
        raise AudioError(f"{folder}: {getattr(error, 'strerror', None) or error}; --takes names a folder") from error
    if not found:
        raise AudioError(f"{folder}: holds no audio files (by their endings, such as .wav or .flac)")
    return found


def take_hashes(takes: Iterable[Path]) -> tuple[dict[Path, str], dict[Path, str]]:
    """Hashes of the takes that can be opened as sound, and why the others cannot."""
    hashes: dict[Path, str] = {}
    errors: dict[Path, str] = {}
    for take in takes:
        try:
            with open_take(take):
                hashes[take] = take_hash(take)
        except AudioError as error:
            errors[take] = str(error)
    return hashes, errors


def refuse_folder_of(takes: Iterable[Path], folder: Path) -> None:
    """Keep results away from where takes lie: they would be taken for takes the next time.

    Raises
    ------
    AudioError
        If a take lies in `folder` or in the folder of its sounds.
    """
    for take in takes:
        if take.resolve().parent in (folder.resolve(), (folder / "audio").resolve()):
            raise AudioError(
                f"{folder}: {take.name} lies there, which is sent through; choose another folder for results"
            )
