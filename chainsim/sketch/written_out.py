"""The text of a sketch that sounds as one in memory does: one state of it, with no patches, cues or rooms around it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from chainsim.errors import SketchError
from chainsim.sketch.chain import BlockStep, Chain, Lane, LanesStep, block_names
from chainsim.sketch.houses import house_in_room
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import BlockEntry, Sketch, State
from chainsim.sketch.patches import PatchSettings
from chainsim.sketch.rewriting import Place, rewritten, toml, with_settings, without_tables

OF_A_SET = ("patches", "banks", "switches", "foot", "cues", "taps", "cue_file", "cue_channel", "rooms", "orders")
"""What a sketch of one state does not have."""


def written_out(sketch: Sketch, title: str) -> str:
    """The sketch's text, changed to hold its one state: a patch's, a room's, one with another chain or other settings.

    Parameters
    ----------
    sketch : Sketch
        In memory; its text is that of the file it came from.
    title : str
        Of the text that is returned.

    Raises
    ------
    SketchError
        If it cannot be written without changing more; it says what to write by hand.
    """
    chain = chain_values(sketch.base.chain)
    try:
        text = _of_one_state(sketch, {("title",): title, ("chain",): chain})
        was = parse_sketch(text, folder=sketch.folder)
        text = with_settings(text, dict(_other_settings(was.base.blocks, sketch.base)))
        if _sounds_alike(parse_sketch(text, folder=sketch.folder), sketch):
            return text
    except SketchError as error:
        raise SketchError(f"this state cannot be written as a sketch of its own: {error.faults[0]}") from None
    raise SketchError(f"this state cannot be written as a sketch of its own; write it yourself: chain = {toml(chain)}")


def chain_values(chain: Chain) -> list[Any]:
    """A chain as the plain values of a sketch."""
    found: list[Any] = []
    for step in chain:
        if isinstance(step, BlockStep):
            found.append(step.name)
        elif isinstance(step, LanesStep):
            lanes = {"lanes": [_lane_value(lane) for lane in step.lanes]}
            found.append({**lanes, "align": True} if step.align else lanes)
        else:
            found.append({"blender": step.name, "wet": chain_values(step.wet)})
    return found


def _lane_value(lane: Lane) -> Any:
    chain = chain_values(lane.chain) if lane.chain else "dry"
    placed: dict[str, Any] = {} if lane.level_db == 0.0 else {"level_db": lane.level_db}
    if lane.pan is not None:
        placed["pan"] = lane.pan
    return {"chain": chain, **placed} if placed else chain


def _of_one_state(sketch: Sketch, head: Mapping[Place, Any]) -> str:
    """The text without what makes a set; what the patch and the room say is the sketch's own."""
    values = tomllib.loads(sketch.text)
    patch = {} if sketch.patch is None else values["patches"][sketch.patch]
    room = {} if sketch.room is None else values["rooms"][sketch.room]
    own: dict[Place, Any] = {
        (name,): patch[name] for name in PatchSettings.specs() if name in patch and not name.startswith("midi_")
    }
    if "feed" in room:
        own["feed",] = room["feed"]
    if "house" in room:
        own["house",] = house_in_room(values.get("house", {}), room["house"])
    own.update({("controllers", n, "drives"): said["drives"] for n, said in patch.get("controllers", {}).items()})
    text = without_tables(sketch.text, OF_A_SET)
    text = rewritten(text, {**own, **head}, [(name,) for name in OF_A_SET])
    there = set(block_names(sketch.base.chain))
    for tables in (patch.get("blocks", {}), room.get("blocks", {})):
        text = with_settings(text, {(b, k): v for b, said in tables.items() if b in there for k, v in said.items()})
    return text


def _other_settings(was: Mapping[str, BlockEntry], now: State) -> Iterator[tuple[tuple[str, str], Any]]:
    """What is set otherwise in memory than a text has it."""
    for name in block_names(now.chain):
        entry, other = now.blocks[name], was[name]
        for kind, before in ((entry.settings, other.settings), (entry.common, other.common)):
            for setting in kind.specs():
                value = getattr(kind, setting)
                if value != getattr(before, setting):
                    yield (name, setting), value


def _sounds_alike(found: Sketch, wanted: Sketch) -> bool:
    names = set(block_names(wanted.base.chain))
    return _what_sounds(found, names) == _what_sounds(wanted, names)


def _what_sounds(sketch: Sketch, names: set[str]) -> tuple[object, ...]:
    base = sketch.base
    drives = {key: drive for key, drive in base.drives.items() if key[0] in names}
    blocks = {name: (base.blocks[name].settings, base.blocks[name].common) for name in names}
    numbers = (base.tempo_bpm, base.key, base.a4_hz, base.trim_db, base.muted)
    return (base.chain, blocks, drives, numbers, sketch.header.feed, sketch.house)
