"""What stands on the wiring sheet: every cable in the order of plugging, splitters and mixers, and how to try it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from chainsim.listen.sheets.block_words import BLOCK_WORDS
from chainsim.listen.sheets.wiring_sheet.cables import Cabling, cabling
from chainsim.listen.sheets.wiring_sheet.chain_changes import ChainChange, chain_changes
from chainsim.listen.sheets.wiring_sheet.control import Control, control, followers
from chainsim.listen.sheets.wiring_sheet.links import NO_BOX
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import BlockEntry, Sketch

CAUTIONS = (
    "Phantom supply (48 V): switch it with the fader down, and only onto what its maker allows it for.",
    "Mains, supplies and earth: makers' manuals, local codes, licensed people. Never lift an earth against hum.",
    "Start low, raise slowly: feedback and resonance can jump in level. Ears that ring or feel dull: stop.",
)


@dataclass(frozen=True)
class Box:
    """A box of the sketch's own.

    Attributes
    ----------
    name, type_name : str
    channels : int
        That come out.
    try_it : str
        What is heard when it is plugged right.
    """

    name: str
    type_name: str
    channels: int
    try_it: str


@dataclass(frozen=True)
class WiringSheet:
    """What stands on the sheet.

    Attributes
    ----------
    title : str
    room : str or None
    boxes : tuple of Box
        Of the chain as written, in its order.
    cabling : Cabling
    control : Control
    changes : tuple of ChainChange
    levels_dbu : mapping of box to float
        Nominal level that comes out of it in the loudest patch, as far as it is known; the horn's under "input".
    trim_db : float
        Gain at the very end.
    dry_by : tuple of str
        Switches that pass the horn by the chain.
    stands_for_noise : tuple of str
        Blocks that are no boxes.
    cautions : tuple of str
    """

    title: str
    room: str | None
    boxes: tuple[Box, ...]
    cabling: Cabling
    control: Control
    changes: tuple[ChainChange, ...]
    levels_dbu: Mapping[str, float]
    trim_db: float
    dry_by: tuple[str, ...]
    stands_for_noise: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for programs."""
        return {**asdict(self), "cables_of_kind": self.count()}

    def count(self) -> dict[str, int]:
        """How many cables of each kind; a stereo pair is two."""
        return {**self.cabling.count(), **self.control.count()}


def wiring_sheet(
    sketch: Sketch,
    *,
    channels: int = 1,
    levels_dbu: Mapping[str, float] | None = None,
) -> WiringSheet:
    """Find what is to be plugged for a sketch.

    Parameters
    ----------
    sketch : Sketch
        As it is set in its room, if it is in one.
    channels : int
        Of the microphone: 1, or 2.
    levels_dbu : mapping of block name to nominal level in dBu, optional
    """
    entries = entries_of(sketch)
    found = cabling(
        sketch.base.chain,
        entries,
        channels=channels,
        to_mono=sketch.header.feed == "mono",
        listeners=followers(sketch),
    )
    return WiringSheet(
        title=sketch.title,
        room=sketch.room,
        boxes=tuple(_boxes(sketch, entries, found)),
        cabling=found,
        control=control(sketch),
        changes=chain_changes(sketch),
        levels_dbu=dict(levels_dbu or {}),
        trim_db=sketch.base.trim_db,
        dry_by=tuple(s.name for s in sketch.switches if any(a.kind == "dry" for a in s.actions)),
        stands_for_noise=tuple(n for n in block_names(sketch.base.chain) if entries[n][0].type_name == NO_BOX),
    )


def entries_of(sketch: Sketch) -> dict[str, list[BlockEntry]]:
    """Every block as it is in the sketch as written and in the patches whose chain has it."""
    found: dict[str, list[BlockEntry]] = {}
    for state in (sketch.base, *(patch.state for patch in sketch.patches.values())):
        for name in block_names(state.chain):
            known = found.setdefault(name, [])
            if state.blocks[name] not in known:
                known.append(state.blocks[name])
    return found


def _boxes(sketch: Sketch, entries: Mapping[str, list[BlockEntry]], found: Cabling) -> Iterator[Box]:
    widths = {cable.source.box: cable.channels for cable in found.cables if cable.source.label == "out"}
    for name in block_names(sketch.base.chain):
        kind = entries[name][0].type_name
        if kind != NO_BOX:
            yield Box(name, kind, widths[name], BLOCK_WORDS[kind].try_it)
