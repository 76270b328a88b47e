"""What moves and switches boxes: pedals, controllers, converters and the foot board, with the boxes that they reach."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from chainsim.block import settings_json
from chainsim.listen.sheets.stage_sheet.controller_map import controller_name
from chainsim.listen.sheets.stage_sheet.value_text import setting_label
from chainsim.sketch.chain import INPUT, block_names
from chainsim.sketch.model import BlockEntry, ControllerEntry, Sketch, State

TRACKED = "track"
CONVERTED = "tracked_midi"


@dataclass(frozen=True)
class ControlCable:
    """What goes from one thing that moves or switches to the boxes that follow it.

    Attributes
    ----------
    source : str
    boxes : tuple of str
        Each with a cable of its own, or one after the other where it is MIDI.
    kind : str
        "MIDI cable", "pedal cable"; empty where the box makes it itself.
    does : str
    """

    source: str
    boxes: tuple[str, ...]
    kind: str
    does: str


def control_cables(sketch: Sketch) -> tuple[ControlCable, ...]:
    """Foot board first, then the controllers as they are declared, then what sends notes to synths."""
    return (*_foot_board(sketch), *_controllers(sketch), *_notes(sketch))


def _states(sketch: Sketch) -> list[State]:
    return [sketch.base, *(patch.state for patch in sketch.patches.values())]


def _foot_board(sketch: Sketch) -> Iterator[ControlCable]:
    """Which boxes the patches and switches engage or set."""
    switched = tuple(_switched(sketch))
    if not switched or not (sketch.switches or sketch.patches):
        return
    names = ", ".join(s.name for s in sketch.switches)
    source = f"foot board ({names})" if names else "what changes patches"
    programs = any(p.midi_program is not None for p in sketch.patches.values())
    how = "program changes call the patches" if programs else "each box has its settings of every patch stored"
    yield ControlCable(source, switched, "MIDI cable", f"engages and sets them by patch: {how}; or loops do it")


def _switched(sketch: Sketch) -> Iterator[str]:
    """Boxes that are not the same in every patch, and those with a switch of their own."""
    states = _states(sketch)
    for name in dict.fromkeys(n for state in states for n in block_names(state.chain)):
        entries = [state.blocks[name] for state in states[1:] if name in set(block_names(state.chain))]
        own = any(a.kind == "block" and a.name == name for s in sketch.switches for a in s.actions)
        if own or len({(e.common.engaged, settings_json(e.settings)) for e in entries}) > 1:
            yield name


def _controllers(sketch: Sketch) -> Iterator[ControlCable]:
    for name, entry in sketch.controllers.items():
        moves = dict.fromkeys(
            target for state in _states(sketch) for target, (driver, _) in state.drives.items() if driver == name
        )
        if moves:
            boxes = tuple(dict.fromkeys(block for block, _ in moves))
            does = "moves " + ", ".join(f"{block} {setting_label(setting)}" for block, setting in moves)
            yield ControlCable(_source(name, entry), boxes, _kind(entry, boxes), does)


def _kind(entry: ControllerEntry, boxes: tuple[str, ...]) -> str:
    """One box may have a pedal input, or a slow wave of its own; what moves several reaches them by MIDI."""
    if entry.type_name == "control_change" or len(boxes) > 1:
        return "MIDI cable"
    return "" if entry.type_name == "lfo" else "pedal cable"


def _source(name: str, entry: ControllerEntry) -> str:
    says: Any = entry.settings
    match entry.type_name:
        case "control_change":
            return f"{name}: {controller_name(says.controller)}"
        case "envelope":
            heard = "the horn" if entry.listens_to in (None, INPUT) else entry.listens_to
            return f"{follower_name(name)}: the loudness of {heard}"
        case "lfo":
            return f"{name}: a slow wave, the box's own if it has one"
        case _:
            return f"{name}: expression pedal"


def follower_name(controller: str) -> str:
    """What the box is called that follows loudness for a controller."""
    return f"{controller} follower"


def followers(sketch: Sketch) -> dict[str, str]:
    """Boxes that follow the loudness of a signal, by what they listen to."""
    return {
        follower_name(name): entry.listens_to or INPUT
        for name, entry in sketch.controllers.items()
        if entry.type_name == "envelope"
    }


def _notes(sketch: Sketch) -> Iterator[ControlCable]:
    """Synths that play notes which are sent to them."""
    sources: dict[str, list[str]] = {}
    for state in _states(sketch):
        for name in block_names(state.chain):
            source = note_source(state.blocks[name])
            if source != TRACKED and name not in sources.setdefault(source, []):
                sources[source].append(name)
    for source, names in sources.items():
        sender = "converter of the horn's pitch to MIDI" if source == CONVERTED else f"player of {source}"
        yield ControlCable(sender, tuple(names), "MIDI cable", "sends the notes that they play")


def note_source(entry: BlockEntry) -> str:
    """Where the pitch comes from that a block follows; "track" where it finds it itself, or follows none."""
    return str(getattr(entry.settings, "source", TRACKED))
