"""What a page has to play and to show, before it is a page."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from chainsim.errors import SettingError
from chainsim.units import Array

Role: TypeAlias = Literal["take", "version", "wire", "part"]
"""The dry take; a version to compare; the probe of a wire; whatever else is to be heard."""

KEY = re.compile(r"[a-z0-9][a-z0-9_-]*")


@dataclass(frozen=True)
class PitchPiece:
    """A stretch of the pitch line without a gap.

    Attributes
    ----------
    times_s, pitches_hz : ndarray, shape (points,)
    """

    times_s: Array
    pitches_hz: Array


@dataclass(frozen=True)
class PageSound:
    """One sound that a page can play.

    Attributes
    ----------
    key : str
        By which the page calls it: small letters, digits, "-" and "_"; no two alike in a page.
    name : str
        What the player reads; any text.
    role : {"take", "version", "wire", "part"}
    scene : str
        Sounds of one scene have one clock: going from one to another keeps the position. A page of versions has one
        scene, a lesson one a step.
    audio : bytes
        A whole audio file, its sound equally loud as the others'.
    mime : str
        "audio/flac" or "audio/mpeg".
    frames, channels : int
    as_it_comes_db : float
        Gain with which the page plays it as loud as it comes, beside the others; none is over 0. A wire that comes
        louder than all that is no wire has 0, too.
    peaks : ndarray, shape (2, columns)
        Lowest and highest sample of each of equally long stretches, -1 ... 1, for the waveform.
    spectrogram : bytes or None
        PNG; a row a share of an octave, the highest on top.
    spectrogram_hz : (float, float)
        Lowest and highest frequency of that picture.
    pitch : tuple of PitchPiece
        What was found to follow; empty where nothing was.
    equally_loud : bool
        False where its trim was limited, so that it is not as loud as the others.
    """

    key: str
    name: str
    role: Role
    scene: str
    audio: bytes
    mime: str
    frames: int
    channels: int
    as_it_comes_db: float
    peaks: Array
    spectrogram: bytes | None = None
    spectrogram_hz: tuple[float, float] = (0.0, 0.0)
    pitch: tuple[PitchPiece, ...] = ()
    equally_loud: bool = True

    def __post_init__(self) -> None:
        if not KEY.fullmatch(self.key):
            raise SettingError(f"{self.key!r}: allowed are small letters, digits, - and _")


@dataclass(frozen=True)
class Figure:
    """A measure beside a sound: "loudness", "-21.3 LUFS"."""

    label: str
    text: str


@dataclass(frozen=True)
class VersionCard:
    """What stands beside one version.

    Attributes
    ----------
    sound : str
        Key of its sound.
    heading : str
    differs : str
        What it does beside the first version, and what one hears of it, in a few words; of the first most often empty.
    figures : tuple of Figure
    settings : str
        The sketch, as text.
    drawing : str or None
        The signal flow as SVG; a wire that can be heard has its sound's key in `data-sound`.
    warnings : tuple of str
    also : tuple of str
        Headings of others that are the same sound, for which it stands.
    """

    sound: str
    heading: str
    differs: str = ""
    figures: tuple[Figure, ...] = ()
    settings: str = ""
    drawing: str | None = None
    warnings: tuple[str, ...] = ()
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class ListeningPage:
    """A page of versions of one take.

    Attributes
    ----------
    title, take_name : str
    sample_rate_hz : int
    starts_s : float
        Where in the take the page's time 0 is, if only a part of it is there.
    sounds : tuple of PageSound
        All in one scene; the take among them, then the versions in order, then wires and other parts.
    cards : tuple of VersionCard
        One a version.
    foot : dict or None
        What the script of the board under the foot needs, in plain values; None where there is no board.
    notes : tuple of str
        What the reader is to know of the page as a whole: the loudness, what was cut.
    """

    title: str
    take_name: str
    sample_rate_hz: int
    sounds: tuple[PageSound, ...]
    cards: tuple[VersionCard, ...]
    starts_s: float = 0.0
    foot: dict[str, Any] | None = None
    notes: tuple[str, ...] = field(default_factory=tuple)
