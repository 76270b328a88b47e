"""Reading a sketch file: TOML in, a checked Sketch out, all faults of a file reported together."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from pathlib import Path
from typing import Any

from chainsim.errors import SettingError, SketchError, nearest, printable
from chainsim.sketch.chain import INPUT, BlenderStep, BlockStep, Chain, block_names, parse_chain
from chainsim.sketch.controllers import drives_of, read_controllers
from chainsim.sketch.fork_numbers import numbered
from chainsim.sketch.general_settings import Header
from chainsim.sketch.houses import read_house
from chainsim.sketch.in_vain import written_in_vain
from chainsim.sketch.key import read_key
from chainsim.sketch.marks import read_marks
from chainsim.sketch.model import BlockEntry, Sketch, State
from chainsim.sketch.patches import read_patches
from chainsim.sketch.reading import read_block, read_settings, table_of, with_defaults
from chainsim.sketch.reading_levels import read_levels
from chainsim.sketch.reading_orders import read_orders
from chainsim.sketch.rooms import read_rooms
from chainsim.sketch.set_list import read_set
from chainsim.sketch.toml_files import read_text, toml_values

TOP_KEYS = (
    "chain", "blocks", "patches", "banks", "switches", "foot", "cues", "taps", "controllers", "rooms", "marks",
    "house",
    "levels",
    "orders",
)  # fmt: skip


def load_sketch(path: str | Path) -> Sketch:
    """Load a sketch file.

    Parameters
    ----------
    path : str or Path
        A TOML 1.0 file.

    Returns
    -------
    Sketch

    Raises
    ------
    SketchError
        If the file cannot be read or holds a fault; `faults` has one line for each.
    """
    path = Path(path)
    text = read_text(path, "a sketch", hint="; the sketch comes first")
    return parse_sketch(text, name=path.name, folder=path.resolve().parent)


def parse_sketch(text: str, *, name: str = "sketch", folder: Path | None = None) -> Sketch:
    """Check the text of a sketch; `name` heads the messages, `folder` holds the files it may use.

    Raises
    ------
    SketchError
        As `load_sketch`.
    """
    values = toml_values(text, name, several="[[banks]], [[switches]], [[cues]], [[taps]]")
    faults: list[str] = []
    sketch = _resolve(values, text, folder, faults)
    if faults or sketch is None:
        raise SketchError([printable(f"{name}: {fault}") for fault in faults])
    return sketch


def _resolve(values: dict[str, Any], text: str, folder: Path | None, faults: list[str]) -> Sketch | None:
    header = read_settings(
        Header, {k: v for k, v in values.items() if k not in TOP_KEYS}, "", faults, also_known=TOP_KEYS
    )
    if "chain" not in values:
        faults.append('chain: missing; the least sketch is: chain = ["reverb"]')
    chain = numbered(parse_chain(values.get("chain", []), "chain", faults))
    blocks: dict[str, BlockEntry] = {}
    for name, table in table_of(values, "blocks", faults).items():
        entry = read_block(name, table, f"blocks.{name}", faults)
        # A fault is noted; with the type's defaults to stand in, what names the block is not at fault too.
        entry = entry or read_block(name, {"type": table.get("type", name)}, "", [])
        if entry is not None:
            blocks[name] = entry
    if header is None:  # a fault is noted; with a header to stand in, the others are found too
        header = Header()
    key, a4_hz = _sounding_key(header, faults), header.a4_hz
    declared = set(blocks) | set(table_of(values, "blocks", []))
    blocks = with_defaults(chain, blocks, declared, "chain", faults)
    base = State(chain, blocks, header.tempo_bpm, key, a4_hz, trim_db=header.trim_db)
    controllers = read_controllers(table_of(values, "controllers", faults), base, faults)
    base = replace(base, drives=drives_of({n: c.drives for n, c in controllers.items()}, "", faults))
    patches = read_patches(table_of(values, "patches", faults), base, header, controllers, declared, faults)
    for place, state in [("", base), *((f"patches.{n}: ", p.state) for n, p in patches.items())]:
        if set(block_names(state.chain)) <= set(state.blocks):
            _check_blenders(state, place, faults)
            _check_listening(state, place, faults)
    sketch = Sketch(header, base, patches, controllers=controllers, folder=folder, text=text)
    sketch = replace(sketch, marks=read_marks(table_of(values, "marks", faults), base, faults))
    sketch = replace(sketch, house=read_house(values.get("house"), "house", faults))
    sketch = replace(sketch, levels=read_levels(values.get("levels"), faults))
    chains = (state.chain for state in (base, *(p.state for p in patches.values())))
    in_chains = dict.fromkeys(name for chain in chains for name in block_names(chain))
    sketch = replace(sketch, orders=read_orders(values.get("orders"), in_chains, faults))
    sketch = replace(sketch, rooms=read_rooms(values, sketch, faults))
    for name, room in sketch.rooms.items():
        listening = {n for n, changed in room.changes.items() if "listens_to" in changed}
        for state in (room.base, *(p.state for p in room.patches.values())):
            _check_listening(state, f"rooms.{name}.", faults, listening)
    sketch, warnings = read_set(values, sketch, faults)
    if faults:
        return None
    return replace(sketch, warnings=tuple(map(printable, (*written_in_vain(sketch), *warnings))))


def _sounding_key(header: Header, faults: list[str]) -> str | None:
    """Check instrument, range of pitches and key; return the key as it sounds."""
    if header.instrument is None and header.pitch_names == "written":
        faults.append('pitch_names = "written" needs an instrument to transpose for')
        return None
    from chainsim.music.horns import find_horn

    try:
        if header.instrument is not None:
            find_horn(header.instrument)
    except SettingError as error:
        faults.append(f"instrument: {error}")
    else:
        low_hz, high_hz = header.pitch_range_hz
        if not low_hz < high_hz:
            faults.append(f"lowest_hz, highest_hz: {low_hz:g} ... {high_hz:g} Hz, allowed the lower end first")
    return None if header.key is None else read_key(header.key, header, "key", faults)


def _check_blenders(state: State, place: str, faults: list[str]) -> None:
    def walk(chain: Chain) -> None:
        for step in chain:
            if isinstance(step, BlenderStep):
                type_name = state.blocks[step.name].type_name
                if type_name != "blender":
                    faults.append(f'{place}chain: "{step.name}" is of type {type_name}, a fork needs a blender')
                walk(step.wet)
            elif isinstance(step, BlockStep):
                if state.blocks[step.name].type_name == "blender":
                    faults.append(
                        f'{place}chain: "{step.name}" is a blender and needs a wet chain:'
                        f' {{ blender = "{step.name}", wet = [...] }}'
                    )
            else:
                for lane in step.lanes:
                    walk(lane.chain)

    walk(state.chain)


def _check_listening(state: State, place: str, faults: list[str], names: Collection[str] | None = None) -> None:
    """Check what the blocks of a state's chain listen to, or those of them that are named."""
    from chainsim.block import block_type

    in_chain = set(block_names(state.chain))
    if not in_chain <= set(state.blocks):  # told already
        return
    for name in sorted(in_chain if names is None else in_chain & set(names)):
        entry = state.blocks[name]
        heard = entry.common.listens_to
        if heard is None:
            continue
        where = f"{place}blocks.{name}.listens_to"
        if not block_type(entry.type_name).has_detector:
            fault = f"{where}: a {entry.type_name} has no detector"
        elif heard != INPUT and heard not in in_chain:
            known = [INPUT, *sorted(in_chain)]
            fault = f'{where}: "{heard}" is not in the chain{nearest(heard, known)}'
        else:
            continue
        if fault not in faults:
            faults.append(fault)
