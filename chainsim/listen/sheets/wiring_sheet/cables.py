"""The cables to make, numbered in the order of plugging, and the splitters that they need."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from chainsim.listen.sheets.wiring_sheet.links import Channel, Link, Links, Mixer, Socket, chain_links
from chainsim.sketch.chain import Chain
from chainsim.sketch.model import BlockEntry

CableKind = Literal["microphone cable", "signal cable", "side-chain cable"]
BALANCED: CableKind = "microphone cable"


@dataclass(frozen=True)
class Cable:
    """One cable, or the two of a stereo pair.

    Attributes
    ----------
    number : int
    source, target : Socket
    kind : str
        Microphone cables are balanced.
    channels : int
        2 for left and right.
    """

    number: int
    source: Socket
    target: Socket
    kind: CableKind
    channels: int


@dataclass(frozen=True)
class Splitter:
    """A box that gives one signal to several inputs."""

    name: str
    outputs: int
    channels: int


@dataclass(frozen=True)
class Names:
    """What the boxes are called that the sketch does not name."""

    microphone: str
    preamp: str
    splitter: str
    mixer: str
    fold: str
    direct_box: str
    desk: str

    @classmethod
    def beside(cls, blocks: Iterable[str]) -> Names:
        """Plain names, with "extra" before those that a block has."""
        taken = {name.lower() for name in blocks}

        def free(name: str) -> str:
            return f"extra {name}" if name in taken else name

        names = ("microphone", "preamp", "splitter", "mixer", "mono sum", "direct box", "desk")
        return cls(*(free(name) for name in names))


@dataclass(frozen=True)
class Cabling:
    """All signal cables of a chain.

    Attributes
    ----------
    cables : tuple of Cable
    splitters : tuple of Splitter
    mixers : tuple of Mixer
    out_channels : int
        To the desk.
    names : Names
    """

    cables: tuple[Cable, ...]
    splitters: tuple[Splitter, ...]
    mixers: tuple[Mixer, ...]
    out_channels: int
    names: Names

    def count(self) -> dict[str, int]:
        """How many cables of each kind; a stereo pair is two."""
        counts: Counter[str] = Counter()
        for cable in self.cables:
            counts[cable.kind] += cable.channels
        return dict(counts)


def cabling(
    chain: Chain,
    blocks: Mapping[str, list[BlockEntry]],
    *,
    channels: int = 1,
    to_mono: bool = False,
    listeners: Mapping[str, str] | None = None,
) -> Cabling:
    """Find every cable from the microphone to the desk.

    Parameters
    ----------
    chain : Chain
    blocks : mapping of name to BlockEntry in every state
    channels : int
        1, or 2 for a stereo microphone.
    to_mono : bool
        Whether what comes out is folded to one channel.
    listeners : mapping of box to "input" or the block that it listens to, optional
        Boxes beside the chain.
    """
    names = Names.beside(blocks)
    start = Socket(names.preamp, "out")
    found = chain_links(chain, blocks, start, channels, f"{names.mixer} {{}}".format, listeners)
    mixers = list(found.mixers)
    links, out_channels = _to_the_desk(found, mixers, names, to_mono)
    links.insert(0, Link(Socket(names.microphone), Socket(names.preamp, "in"), channels))
    splitters, plugged = _with_splitters(links, names)
    balanced = {names.microphone, names.direct_box}
    cables = tuple(
        Cable(number, link.source, link.target, _kind(link, balanced), link.channels)
        for number, link in enumerate(plugged, 1)
    )
    return Cabling(cables, splitters, tuple(mixers), out_channels, names)


def _to_the_desk(found: Links, mixers: list[Mixer], names: Names, to_mono: bool) -> tuple[list[Link], int]:
    links, end, width = list(found.links), found.end, found.end_channels
    if to_mono and width == 2:
        links.append(Link(end, Socket(names.fold, "left and right"), 2))
        halves = (Channel(1, "left", 1, -6.0, None), Channel(2, "right", 1, -6.0, None))
        mixers.append(Mixer(names.fold, halves, aligned=False))
        end, width = Socket(names.fold, "out"), 1
    links.append(Link(end, Socket(names.direct_box, "in"), width))
    links.append(Link(Socket(names.direct_box, "out"), Socket(names.desk), width))
    return links, width


def _with_splitters(links: list[Link], names: Names) -> tuple[tuple[Splitter, ...], list[Link]]:
    """Every outlet that feeds several inputs gets a splitter, plugged where the first of them is."""
    counts = Counter(link.source for link in links)
    splitters: dict[Socket, Splitter] = {}
    used: Counter[Socket] = Counter()
    plugged: list[Link] = []
    for link in links:
        if counts[link.source] == 1:
            plugged.append(link)
            continue
        if link.source not in splitters:
            width = max(other.channels for other in links if other.source == link.source)
            name = f"{names.splitter} {len(splitters) + 1}"
            splitters[link.source] = Splitter(name, counts[link.source], width)
            plugged.append(Link(link.source, Socket(name, "in"), width))
        used[link.source] += 1
        outlet = Socket(splitters[link.source].name, f"out {used[link.source]}")
        plugged.append(replace(link, source=outlet))
    return tuple(splitters.values()), plugged


def _kind(link: Link, balanced: set[str]) -> CableKind:
    if link.source.box in balanced:
        return BALANCED
    return "side-chain cable" if link.kind == "detector" else "signal cable"
