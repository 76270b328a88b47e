"""A sketch in memory: what was written, checked and resolved."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from chainsim.block import Assets, block_type
from chainsim.music.horns import ANY_HORN_HZ, find_horn
from chainsim.settings import Settings, choice, fixed, flag, whole, words
from chainsim.sketch.chain import Chain, block_names
from chainsim.stage.drives import Drive


class Header(Settings):
    """The settings at the top of a sketch."""

    format: int = whole(1, 1, 1, "version of the sketch format")
    title: str = words("untitled", "what the sound is called")
    tempo_bpm: float = fixed(120.0, 20.0, 400.0, "bpm", "beats (quarters) per minute")
    key: str | None = words(None, 'key, such as "E minor" or "G dorian"; sounding unless pitch_names = "written"')
    instrument: str | None = words(None, 'the horn, such as "tenor sax": range of its notes and transposition')
    pitch_names: Literal["sounding", "written"] = choice("sounding", "whether key and pitches are as heard or as read")
    lowest_hz: float | None = fixed(None, 25.0, 5000.0, "Hz", "lowest pitch to follow, if not the instrument's own")
    highest_hz: float | None = fixed(None, 25.0, 5000.0, "Hz", "highest pitch to follow, if not the instrument's own")
    a4_hz: float = fixed(440.0, 380.0, 480.0, "Hz", "tuning: frequency of A4")
    feed: Literal["as_is", "mono"] = choice("as_is", "what goes to the house: as it comes, or folded to one channel")

    @property
    def pitch_range_hz(self) -> tuple[float, float]:
        """Lowest and highest pitch to follow: as written, or what the instrument reaches, or what any horn does."""
        horn = None if self.instrument is None else find_horn(self.instrument)
        low_hz, high_hz = ANY_HORN_HZ if horn is None else horn.search_hz(self.a4_hz)
        return self.lowest_hz or low_hz, self.highest_hz or high_hz

    @property
    def horn_lowest_hz(self) -> float:
        """Lowest pitch to expect: as written, or the lowest usual note of the instrument, or that of any horn."""
        if self.lowest_hz is not None or self.instrument is None:
            return self.lowest_hz or ANY_HORN_HZ[0]
        return find_horn(self.instrument).range_hz(self.a4_hz)[0]


class Common(Settings):
    """Settings that every block has beside its own."""

    engaged: bool = flag(True, "false takes the block out of the chain: what comes in goes on as it is")
    latency_ms: float = fixed(0.0, 0.0, 500.0, "ms", "extra latency that stands for a device you have measured")
    tails: Literal["by_kind", "ring", "cut"] = choice(
        "by_kind", "what a block does when a patch leaves it: ring out, or be cut; echoes and reverbs ring by default"
    )
    listens_to: str | None = words(
        None, 'what the detector hears: "input" (the take) or a block; default its own input'
    )


@dataclass(frozen=True)
class BlockEntry:
    """One declared block."""

    name: str
    type_name: str
    settings: Settings
    common: Common = field(default_factory=Common)

    @property
    def rings(self) -> Literal["ring", "cut", "plain"]:
        """Whether its tail is kept when it is left; "plain" blocks let the tails of others through.

        What makes sound of its own never rings: left alone it would not end.
        """
        cls = block_type(self.type_name)
        if self.common.tails != "by_kind" and not cls.generates:
            return self.common.tails
        return "ring" if cls.rings and not cls.generates else "plain"


@dataclass(frozen=True)
class State:
    """What holds between two cues: a chain, its blocks, a tempo."""

    chain: Chain
    blocks: Mapping[str, BlockEntry]
    tempo_bpm: float
    key: str | None
    a4_hz: float


@dataclass(frozen=True)
class Cue:
    """From this time on, this patch."""

    at_s: float
    patch: str


@dataclass(frozen=True)
class ControllerEntry:
    """One declared controller and what it drives."""

    name: str
    type_name: str
    settings: Settings
    listens_to: str | None
    drives: tuple[Drive, ...]


@dataclass(frozen=True)
class Sketch:
    """A checked sketch.

    Attributes
    ----------
    header : Header
    base : State
        The chain as written, before any patch.
    patches : dict of State
    cues : tuple of Cue, in order of time
    controllers : dict of ControllerEntry
    folder : Path or None
        Where the files it names must lie.
    text : str
        The sketch as written.
    warnings : tuple of str
    """

    header: Header
    base: State
    patches: Mapping[str, State] = field(default_factory=dict)
    cues: tuple[Cue, ...] = ()
    controllers: Mapping[str, ControllerEntry] = field(default_factory=dict)
    folder: Path | None = None
    text: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """What the sound is called."""
        return self.header.title

    @property
    def assets(self) -> Assets:
        """The files it may use."""
        return Assets(self.folder)

    @property
    def sha256(self) -> str:
        """Hash of the text."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def block_order(self) -> list[str]:
        """Names of the blocks in the order of the chain."""
        return list(block_names(self.base.chain))

    def timeline(self) -> list[tuple[float, State]]:
        """States by the time in seconds at which they begin; the first begins at 0."""
        begun: dict[float, State] = {0.0: self.base}
        for cue in self.cues:
            begun[cue.at_s] = self.patches[cue.patch]
        return sorted(begun.items(), key=lambda item: item[0])

    def late_cues(self, take_s: float) -> list[str]:
        """One line for each cue that comes when the take is over."""
        return [
            f'the cue to "{cue.patch}" at {cue.at_s:g} s comes after the take, which lasts {take_s:.1f} s'
            for cue in self.cues
            if cue.at_s >= take_s
        ]

    def to_dict(self) -> dict[str, Any]:
        """Plain values of what was resolved, for records and --json."""
        return {
            "title": self.title,
            "sha256": self.sha256,
            "tempo_bpm": self.base.tempo_bpm,
            "key": self.base.key,
            "instrument": self.header.instrument,
            "blocks": {n: {"type": b.type_name, **b.settings.model_dump()} for n, b in self.base.blocks.items()},
        }
