"""Reading rooms: what is set otherwise in one house, over every patch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal

from chainsim.settings import Settings, choice
from chainsim.sketch.chain import block_names
from chainsim.sketch.houses import read_room_house
from chainsim.sketch.model import BlockEntry, Patch, Room, Sketch, State
from chainsim.sketch.overriding import not_there, overridden
from chainsim.sketch.reading import read_settings, table_of


class RoomSettings(Settings):
    """What a room says beside its blocks."""

    feed: Literal["as_is", "mono"] | None = choice(None, "what goes to the house there")


ROOM_PARTS = ("blocks", "house")


def read_rooms(values: Mapping[str, Any], sketch: Sketch, faults: list[str]) -> dict[str, Room]:
    """Apply every room to the chain as written, to every patch and to the house."""
    base, patches = sketch.base, sketch.patches
    rooms = {}
    for name, table in table_of(values, "rooms", faults).items():
        place = f"rooms.{name}"
        own = {k: v for k, v in table.items() if k not in ROOM_PARTS}
        says = read_settings(RoomSettings, own, place, faults, also_known=ROOM_PARTS) or RoomSettings()
        changes = _changes(table_of(table, "blocks", faults, within=place), base, patches, place, faults)
        rooms[name] = Room(
            base=_in_room(base, changes, place, faults),
            patches={n: replace(p, state=_in_room(p.state, changes, place, faults)) for n, p in patches.items()},
            feed=says.feed or sketch.header.feed,
            changes=changes,
            house=(
                read_room_house(values.get("house"), table["house"], f"{place}.house", faults)
                if "house" in table
                else sketch.house
            ),
        )
    return rooms


def _changes(
    tables: Mapping[str, Any], base: State, patches: Mapping[str, Patch], place: str, faults: list[str]
) -> dict[str, Mapping[str, Any]]:
    """The changes that can be made: to blocks that stand in some chain, and none that switches a block on."""
    in_chains = list(
        dict.fromkeys(n for s in (base, *(p.state for p in patches.values())) for n in block_names(s.chain))
    )
    found = {}
    for name, changes in tables.items():
        where = f"{place}.blocks.{name}"
        if name not in in_chains:
            faults.append(not_there(name, where, in_chains, base.blocks))
        elif changes.get("engaged", False) is not False:
            faults.append(f"{where}.engaged: a room can leave a block out (false); what engages it is a patch's to say")
        else:
            found[name] = changes
    return found


def _in_room(state: State, changes: Mapping[str, Mapping[str, Any]], place: str, faults: list[str]) -> State:
    blocks: dict[str, BlockEntry] = dict(state.blocks)
    for name, changed in changes.items():
        if name in blocks:
            found: list[str] = []
            entry = overridden(blocks[name], changed, f"{place}.blocks.{name}", found)
            faults += [fault for fault in found if fault not in faults]
            blocks[name] = entry or blocks[name]
    return replace(state, blocks=blocks)
