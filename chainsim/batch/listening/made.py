"""Versions of one take as files that are there, with what is known of each: what a page or a reel is made of."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path, PurePath
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from chainsim.audio.wav import wav_header
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.errors import SettingError, nearest
from chainsim.sketch.model import Sketch

One = TypeVar("One")

MOST_VERSIONS = 24
"""What ears can go through; common practice, no source."""


@dataclass(frozen=True)
class MadeVersion:
    """One version.

    Attributes
    ----------
    heading : str
    file : Path
        WAV of 32-bit floats, as the project writes it.
    figures : SoundFigures
        Before its trim.
    trim_db : float
        Gain with which the file was written.
    sketch : Sketch or None
        What rendered it, if that is still there.
    settings : str
        The sketch as text, or what is known of it.
    said : dict of str
        What else is known of it, by label.
    warnings : tuple of str
    also : tuple of str
        Headings of others that are the same sound, and are left out.
    """

    heading: str
    file: Path
    figures: SoundFigures
    trim_db: float = 0.0
    sketch: Sketch | None = None
    settings: str = ""
    said: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    def samples(self) -> npt.NDArray[np.float32]:
        """The file's samples, shape (frames, channels), read when they are needed."""
        channels = self.figures.channels
        head = len(wav_header("float32", round(self.figures.sample_rate_hz), channels, 0))
        return np.memmap(self.file, "<f4", "r", head, (self.figures.frames, channels))


@dataclass(frozen=True)
class MadeVersions:
    """Versions of one take.

    Attributes
    ----------
    title : str
    take : Path
    versions : tuple of MadeVersion
        The first is what the others are told against.
    set_sketch : Sketch or None
        The only sketch with switches among those given, whole.
    notes : tuple of str
    """

    title: str
    take: Path
    versions: tuple[MadeVersion, ...]
    set_sketch: Sketch | None = None
    notes: tuple[str, ...] = ()


def without_copies(versions: Iterable[MadeVersion]) -> tuple[tuple[MadeVersion, ...], list[str]]:
    """Versions that differ in some sample, and one line for each that is left out.

    A choice between two that are the same sound would be no choice.
    """
    first: dict[tuple[str, float, float], MadeVersion] = {}
    notes = []
    for version in versions:
        with version.file.open("rb") as file:
            sound = hashlib.file_digest(file, "sha256").hexdigest(), version.trim_db, version.figures.latency_ms
        if sound in first:
            kept = first[sound]
            first[sound] = replace(kept, also=(*kept.also, version.heading))
            notes.append(f'"{version.heading}" is the same sound as "{kept.heading}", which stands for both')
        else:
            first[sound] = version
    return tuple(first.values()), notes


def on_page(found: Sequence[One], page: int | None, narrow: str) -> tuple[list[One], str]:
    """Those versions that stand on one page, the first on each: it is what the others are told against.

    Parameters
    ----------
    found : sequence
        All of them.
    page : int or None
        Which page, from 1 on; None where they are to fit on one.
    narrow : str
        How there can be fewer.

    Returns
    -------
    versions : list
    note : str
        Which they are; empty if there is only one page.

    Raises
    ------
    SettingError
        If there is no version, or no such page, or there are more than 24 and none is chosen.
    """
    count, each = len(found), MOST_VERSIONS - 1
    if not found:
        raise SettingError(f"0 versions, allowed 1 ... {MOST_VERSIONS} on one page: {narrow}")
    pages = max(1, -(-(count - 1) // each))
    if page is None and pages > 1:
        raise SettingError(
            f"{count} versions, allowed 1 ... {MOST_VERSIONS} on one page: choose one of {pages} pages (--page 1 ..."
            f" --page {pages}, each with the first version), or {narrow}"
        )
    number = page or 1
    if not 1 <= number <= pages:
        raise SettingError(f"page {number}, allowed 1 ... {pages}, for {count} version{'s' * (count > 1)}")
    first = each * (number - 1) + 1
    chosen = [found[0], *found[first : first + each]]
    if pages == 1:
        return chosen, ""
    versions = f"version {first + 1}" if len(chosen) == 2 else f"versions {first + 1} to {first + len(chosen) - 1}"
    return chosen, f"Page {number} of {pages}: beside the first, {versions} of {count}."


def check_patches(patches: Iterable[str], known: Iterable[str | None]) -> None:
    """Refuse a patch that is not among those that there are.

    Raises
    ------
    SettingError
        If there is no such patch.
    """
    there = list(dict.fromkeys(name for name in known if name is not None))
    for name in patches:
        if name not in there:
            what = f"; there are {', '.join(there)}" if there else "; no sketch has any"
            raise SettingError(f'no patch "{name}"{nearest(name, there) or what}')


def short_names(paths: Iterable[str]) -> dict[str, str]:
    """What sketches are called: by file name, and by as many of its folders as tell it from the others.

    >>> short_names(["a/waltz.toml", "b/waltz.toml", "march.toml"])
    {'a/waltz.toml': 'a/waltz', 'b/waltz.toml': 'b/waltz', 'march.toml': 'march'}
    """
    parts = {path: PurePath(path.removesuffix(".toml")).parts for path in paths}
    names = {}
    for path, own in parts.items():
        others = [other for known, other in parts.items() if known != path]
        depth = next((n for n in range(1, len(own)) if all(other[-n:] != own[-n:] for other in others)), len(own))
        names[path] = PurePath(*own[-depth:]).as_posix() if own else path
    return names


def told_apart(parts: list[tuple[str, ...]]) -> list[str]:
    """Names made of those parts that are not the same everywhere; where nothing differs, of the first part.

    What would still be called alike is counted.

    >>> told_apart([("waltz", "solo"), ("waltz", "tutti")])
    ['solo', 'tutti']
    >>> told_apart([("waltz", ""), ("waltz", "")])
    ['waltz', 'waltz (2)']
    """
    differing = [len(set(column)) > 1 for column in zip(*parts, strict=True)]
    if differing and not any(differing):
        differing[0] = True
    found: list[str] = []
    for name in parts:
        called = ", ".join(part for part, differs in zip(name, differing, strict=True) if differs and part)
        numbered = (f"{called} ({n})" for n in count(2))
        found.append(called if called not in found else next(n for n in numbered if n not in found))
    return found
