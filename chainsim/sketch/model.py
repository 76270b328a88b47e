"""A sketch in memory: what was written, checked and resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, TypeAlias

from chainsim.block import Assets, block_type
from chainsim.display import notebook_html
from chainsim.errors import SettingError, nearest
from chainsim.settings import Settings
from chainsim.sketch.chain import Chain, block_names
from chainsim.sketch.general_settings import Common, Header
from chainsim.sketch.hashing import sketch_hash
from chainsim.sketch.house import House
from chainsim.sketch.levels import Levels
from chainsim.sketch.ordering import OrderRules
from chainsim.stage.board import Bank, Board, Switch
from chainsim.stage.cues import Cue
from chainsim.stage.drives import Drive
from chainsim.stage.foot import Foot


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

    @cached_property
    def own_switches(self) -> frozenset[str]:
        """Blocks that a switch of the board turns on and off by themselves."""
        return frozenset(a.name for switch in self.switches for a in switch.actions if a.kind == "block")

    @cached_property
    def engaged_by_hand(self) -> frozenset[str]:
        """Blocks that a switch or a cue engages, whatever the patch says."""
        return self.own_switches | {cue.name for cue in self.cues if cue.kind == "block" and cue.on}

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
