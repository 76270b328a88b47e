"""The takes of a folder."""

from __future__ import annotations

from pathlib import Path

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
