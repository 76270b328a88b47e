"""From the chain's tree to what is plugged into what: every signal's outlet, and the inputs that it feeds.

A block is a box; where lanes meet there is a mixer; a blender is a box with a send and a return. That one outlet feeds
several inputs, whether for lanes or for a detector that listens there, shows as several links from it: a splitter.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from chainsim.block import block_type
from chainsim.sketch.chain import INPUT, BlenderStep, BlockStep, Chain, Lane, LanesStep
from chainsim.sketch.model import BlockEntry

NO_BOX = "noise"
"""A kind of block that stands for the noise of others."""
LinkKind = Literal["signal", "detector"]


class Socket(NamedTuple):
    """A place on a box where a cable goes in or out."""

    box: str
    label: str = ""

    @property
    def text(self) -> str:
        """As it is read: "mixer 1, channel 2"."""
        return f"{self.box}, {self.label}" if self.label else self.box


@dataclass(frozen=True)
class Channel:
    """One channel of a mixer: what comes in by it, how loud, and where it stands."""

    number: int
    lane: str
    channels: int
    level_db: float
    pan: float | None


@dataclass(frozen=True)
class Mixer:
    """Where lanes meet."""

    name: str
    channels: tuple[Channel, ...]
    aligned: bool


@dataclass(frozen=True)
class Link:
    """From an outlet to an input."""

    source: Socket
    target: Socket
    channels: int
    kind: LinkKind = "signal"


@dataclass
class Links:
    """All links of a chain, in the order of plugging.

    Attributes
    ----------
    links : list of Link
    mixers : list of Mixer
    end : Socket
        What the chain gives.
    end_channels : int
    """

    links: list[Link] = field(default_factory=list)
    mixers: list[Mixer] = field(default_factory=list)
    end: Socket = field(default_factory=lambda: Socket(""))
    end_channels: int = 1


def chain_links(
    chain: Chain,
    blocks: Mapping[str, Sequence[BlockEntry]],
    start: Socket,
    channels: int,
    mixer_name: Callable[[int], str] = "mixer {}".format,
    listeners: Mapping[str, str] | None = None,
) -> Links:
    """Find what is plugged into what.

    Parameters
    ----------
    chain : Chain
    blocks : mapping of name to BlockEntry in every state
        Those of one block may differ in how many channels come out: the box has the most of them.
    start : Socket
        Where the horn comes from.
    channels : int
        Of the horn.
    mixer_name : callable
        Name of the mixer of a number, from 1.
    listeners : mapping of box to "input" or the block that it listens to, optional
        Boxes beside the chain.
    """
    return _Plugging(blocks, start, channels, mixer_name).run(chain, listeners or {})


class _Plugging:
    def __init__(
        self,
        blocks: Mapping[str, Sequence[BlockEntry]],
        start: Socket,
        channels: int,
        mixer_name: Callable[[int], str],
    ) -> None:
        self._blocks, self._mixer_name = blocks, mixer_name
        self._found = Links()
        self._start = start
        self._points: dict[str, Socket] = {INPUT: start}
        self._channels: dict[Socket, int] = {start: channels}
        self._waiting: list[tuple[str, Socket]] = []
        self._forks = 0

    def run(self, chain: Chain, listeners: Mapping[str, str]) -> Links:
        self._waiting += [(place, Socket(box, "in")) for box, place in listeners.items()]
        self._found.end = self._series(chain, self._start)
        self._found.end_channels = self._channels[self._found.end]
        self._plug_waiting()
        return self._found

    def _series(self, chain: Chain, point: Socket) -> Socket:
        for step in chain:
            if isinstance(step, BlockStep):
                point = self._block(step.name, point)
            elif isinstance(step, LanesStep):
                point = self._lanes(step, point)
            else:
                point = self._blender(step, point)
        return point

    def _block(self, name: str, point: Socket) -> Socket:
        entries = self._blocks[name]
        if entries[0].type_name == NO_BOX:
            self._points[name] = point
            return point
        self._link(point, Socket(name, "in"))
        out = Socket(name, "out")
        self._channels[out] = self._channels_out(name, {"in": self._channels[point]})
        self._listen(name, point)
        self._arrived(name, out)
        return out

    def _blender(self, step: BlenderStep, point: Socket) -> Socket:
        self._link(point, Socket(step.name, "in"))
        send = Socket(step.name, "send")
        self._channels[send] = self._channels[point]
        wet = self._series(step.wet, send)
        self._link(wet, Socket(step.name, "return"))
        out = Socket(step.name, "out")
        ports = {"dry": self._channels[point], "wet": self._channels[wet]}
        self._channels[out] = self._channels_out(step.name, ports)
        self._arrived(step.name, out)
        return out

    def _lanes(self, step: LanesStep, point: Socket) -> Socket:
        if is_wire(step):
            return self._series(step.lanes[0].chain, point)
        self._forks += 1
        name, width, channels = self._mixer_name(self._forks), 1, []
        for number, lane in enumerate(step.lanes, 1):
            end = self._series(lane.chain, point)
            self._link(end, Socket(name, f"channel {number}"))
            into = self._channels[end]
            channels.append(Channel(number, _lane_name(lane), into, lane.level_db, lane.pan))
            if lane.level_db != -math.inf:
                width = max(width, into, 1 if lane.pan is None else 2)
        self._found.mixers.append(Mixer(name, tuple(channels), step.align))
        out = Socket(name, "out")
        self._channels[out] = width
        return out

    def _listen(self, name: str, point: Socket) -> None:
        """A cable for a detector that listens elsewhere than at the box's own input."""
        heard = {e.common.listens_to for e in self._blocks[name] if block_type(e.type_name).has_detector}
        for place in sorted(place for place in heard if place is not None):
            if self._points.get(place) != point:
                self._waiting.append((place, Socket(name, "side input")))
        self._plug_waiting()

    def _arrived(self, name: str, out: Socket) -> None:
        self._points[name] = out
        self._plug_waiting()

    def _plug_waiting(self) -> None:
        """Those whose both ends are there."""
        for place, target in list(self._waiting):
            if place in self._points:
                self._link(self._points[place], target, "detector")
                self._waiting.remove((place, target))

    def _link(self, source: Socket, target: Socket, kind: LinkKind = "signal") -> None:
        channels = 1 if kind == "detector" else self._channels[source]
        self._found.links.append(Link(source, target, channels, kind))

    def _channels_out(self, name: str, ports: Mapping[str, int]) -> int:
        known = {**ports, "detector": 1}
        return max(block_type(e.type_name).output_channels(e.settings, known) for e in self._blocks[name])


def is_wire(step: LanesStep) -> bool:
    """Whether it is one lane as it is, which takes no mixer."""
    return len(step.lanes) == 1 and step.lanes[0].level_db == 0.0 and step.lanes[0].pan is None


def _lane_name(lane: Lane) -> str:
    """The boxes of a lane, or "dry"."""
    names = [step.name if isinstance(step, BlockStep | BlenderStep) else "lanes" for step in lane.chain]
    return " > ".join(names) or "dry"
