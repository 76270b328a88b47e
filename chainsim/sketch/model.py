"""A sketch in memory: what was written, checked and resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any, Literal, TypeAlias

from chainsim.block import Assets, block_type
from chainsim.display import notebook_html
from chainsim.errors import SettingError, nearest
from chainsim.music.horns import ANY_HORN_HZ, find_horn
from chainsim.music.meter import parse_meter
from chainsim.settings import Settings, choice, fixed, flag, readable_by, whole, words
from chainsim.sketch.chain import Chain, block_names
from chainsim.sketch.hashing import sketch_hash
from chainsim.sketch.house import House
from chainsim.sketch.levels import Levels
from chainsim.sketch.ordering import OrderRules
from chainsim.stage.board import Bank, Board, Switch
from chainsim.stage.cues import Cue
from chainsim.stage.drives import Drive
from chainsim.stage.foot import Foot


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
    meter: Annotated[str, readable_by(parse_meter)] = words("4/4", "beats in a bar, for cues and lanes in bars")
    first_beat_s: float = fixed(0.0, 0.0, 3600.0, "s", "when bar 1 begins in the take; grids and bars count from there")
    feed: Literal["as_is", "mono"] = choice("as_is", "what goes to the house: as it comes, or folded to one channel")
    trim_db: float = fixed(0.0, -30.0, 30.0, "dB", "gain of what comes out; a patch may have its own")
    cue_file: str | None = words(None, "a file of cues beside the sketch: .csv, .toml or .mid")
    cue_channel: int = whole(0, 0, 16, "MIDI channel that a .mid file of cues is read on; 0: all of them")

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
    switching: Literal["by_patch", "always_on", "free_standing"] = choice(
        "by_patch", "what engages it: the patch; nothing, for it stays in every patch; or a switch, whatever the patch"
    )
    when_off: Literal["by_kind", "pass", "silent"] = choice(
        "by_kind", "what it gives while it is disengaged: what comes in, or nothing; by default synths give nothing"
    )
    clip_dbu: float | None = fixed(
        None, -60.0, 40.0, "dBu", "level at which the device this stands for clips at its output: for the level plan"
    )
    noise_dbu: float | None = fixed(
        None, -140.0, 0.0, "dBu", "noise that this device adds at its output, 20 Hz to 20 kHz: for the level plan"
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
    def passes(self) -> bool:
        """Whether what comes in goes on as it is while it is disengaged."""
        if self.common.when_off == "by_kind":
            return not block_type(self.type_name).generates
        return self.common.when_off == "pass"

    @property
    def rings(self) -> Literal["ring", "cut", "plain"]:
        """Whether its tail is kept when it is left; "plain" blocks let the tails of others through.

        What makes sound of its own never rings: left alone it would not end.
        """
        cls = block_type(self.type_name)
        if self.common.tails != "by_kind" and not cls.generates:
            return self.common.tails
        return "ring" if cls.rings and not cls.generates else "plain"


Drives: TypeAlias = Mapping[tuple[str, str], tuple[str, Drive]]
"""The controller's name and the drive, by (block, setting)."""


@dataclass(frozen=True)
class State:
    """What holds between two cues: chain, blocks, tempo, what controllers drive, and how loud it is heard."""

    chain: Chain
    blocks: Mapping[str, BlockEntry]
    tempo_bpm: float
    key: str | None
    a4_hz: float
    drives: Drives = field(default_factory=dict)
    muted: bool = False
    trim_db: float = 0.0

    @property
    def engaged(self) -> frozenset[str]:
        """Names of the blocks in the chain that are engaged."""
        return frozenset(n for n in block_names(self.chain) if self.blocks[n].common.engaged)


@dataclass(frozen=True)
class Patch:
    """A state under a name.

    Attributes
    ----------
    state : State
    sets_tempo : bool
        Whether it brings its own tempo, whatever was tapped before.
    midi_program, midi_bank : int or None
        The program change (0 to 127) and bank select (0 to 16383) that call it.
    """

    state: State
    sets_tempo: bool = False
    midi_program: int | None = None
    midi_bank: int = 0


@dataclass(frozen=True)
class Room:
    """The sketch as it is set in one room: the chain as written and every patch, with what differs there."""

    base: State
    patches: Mapping[str, Patch]
    feed: Literal["as_is", "mono"]
    changes: Mapping[str, Mapping[str, Any]]
    """What the sketch says of it, by block."""
    house: House | None = None

    @property
    def left_out(self) -> frozenset[str]:
        """Blocks that are not there in this room, whatever patch, cue or switch says."""
        return frozenset(name for name, changed in self.changes.items() if changed.get("engaged") is False)


@dataclass(frozen=True)
class Marks:
    """How one setting is marked on a device of the player's own.

    Attributes
    ----------
    knob : str
        What the device calls it.
    points : tuple of (value, mark)
        In order of value; between two marks that are numbers lies a number.
    """

    knob: str
    points: tuple[tuple[float | str, float | str], ...]


@dataclass(frozen=True)
class ControllerEntry:
    """One declared controller and what it drives, unless a patch says otherwise."""

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
    patches : dict of Patch
    banks : tuple of Bank
    switches : tuple of Switch
    foot : Foot
        How fast the player's foot is.
    board : Board
        Banks, switches and patches as one thing to press, the same in every room.
    cues : tuple of Cue, in order of time
    taps : tuple of (tap times in s)
        Each row gives a tempo.
    controllers : dict of ControllerEntry
    rooms : dict of Room
    marks : dict of Marks, by (block, setting)
    house : House or None
        What is around the chain where it is heard from a seat.
    levels : Levels or None
        What 0 dBFS stands for on wires, and what the house takes the feed with.
    orders : OrderRules
        Which orders of its blocks are tried.
    folder : Path or None
        Where the files it names must lie.
    text : str
        The sketch as written.
    warnings : tuple of str
    patch, room : str or None
        Which patch alone, and in which room, if it is not the sketch as written.
    """

    header: Header
    base: State
    patches: Mapping[str, Patch] = field(default_factory=dict)
    banks: tuple[Bank, ...] = ()
    switches: tuple[Switch, ...] = ()
    foot: Foot = field(default_factory=Foot)
    board: Board = field(default_factory=Board)
    cues: tuple[Cue, ...] = ()
    taps: tuple[tuple[float, ...], ...] = ()
    controllers: Mapping[str, ControllerEntry] = field(default_factory=dict)
    rooms: Mapping[str, Room] = field(default_factory=dict)
    marks: Mapping[tuple[str, str], Marks] = field(default_factory=dict)
    house: House | None = None
    levels: Levels | None = None
    orders: OrderRules = field(default_factory=OrderRules)
    folder: Path | None = None
    text: str = ""
    warnings: tuple[str, ...] = ()
    patch: str | None = None
    room: str | None = None

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
        """Hash of the text, and of the files it names as they are now."""
        return sketch_hash(self.text, self.folder)

    def _repr_html_(self) -> str:
        """Title and drawing, for notebooks."""
        return notebook_html(self)

    @property
    def block_order(self) -> list[str]:
        """Names of the blocks in the order of the chain."""
        return list(block_names(self.base.chain))

    def in_room(self, name: str) -> Sketch:
        """The sketch as it is set in one of its rooms.

        Raises
        ------
        SettingError
            If it has no such room.
        """
        if name not in self.rooms:
            known = f"; there are {', '.join(self.rooms)}" if self.rooms else "; the sketch has none"
            raise SettingError(f'no room "{name}"{nearest(name, self.rooms) or known}')
        room = self.rooms[name]
        header = self.header.model_copy(update={"feed": room.feed})
        return replace(self, header=header, base=room.base, patches=room.patches, house=room.house, room=name)

    def alone(self, patch: str | None = None) -> Sketch:
        """One patch and nothing else: no cues, no taps; None is the chain as written.

        Raises
        ------
        SettingError
            If it has no such patch.
        """
        if patch is not None and patch not in self.patches:
            known = f"; there are {', '.join(self.patches)}" if self.patches else "; the sketch has none"
            raise SettingError(f'no patch "{patch}"{nearest(patch, self.patches) or known}')
        state = self.base if patch is None else self.patches[patch].state
        return replace(self, base=state, patches={}, banks=(), switches=(), cues=(), taps=(), rooms={}, patch=patch)

    def late_cues(self, take_s: float) -> list[str]:
        """One line for each cue that comes when the take is over."""
        return [
            f'the cue "{cue.text}" at {cue.at_s:g} s comes after the take, which lasts {take_s:.1f} s'
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
