"""What moves and switches boxes: pedals, controllers, converters and the foot board, with the boxes that they reach."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

from chainsim.block import settings_json
from chainsim.listen.sheets.stage_sheet.controller_map import controller_name
from chainsim.listen.sheets.stage_sheet.value_text import setting_label
from chainsim.listen.sheets.wiring_sheet.midi_chain import MidiChain
from chainsim.sketch.chain import INPUT, block_names
from chainsim.sketch.model import BlockEntry, ControllerEntry, Sketch, State

TRACKED = "track"
CONVERTED = "tracked_midi"
CONVERTER = "pitch converter"
FOOT_BOARD = "foot board"
PEDAL_INPUT = f"{FOOT_BOARD}, pedal input"

ControlKind = Literal["MIDI cable", "pedal cable", ""]


@dataclass(frozen=True)
class ControlCable:
    """What goes from one thing that moves or switches to the boxes that follow it.

    Attributes
    ----------
    source : str
    boxes : tuple of str
        That follow it.
    kind : {"MIDI cable", "pedal cable", ""}
        Of its one cable; none where the box makes it itself.
    into : str
        Where that cable goes.
    does : str
    """

    source: str
    boxes: tuple[str, ...]
    kind: ControlKind
    into: str
    does: str


@dataclass(frozen=True)
class Control:
    """All that moves and switches.

    Attributes
    ----------
    cables : tuple of ControlCable
    midi : MidiChain or None
        None where nothing sends MIDI.
    """

    cables: tuple[ControlCable, ...] = ()
    midi: MidiChain | None = None

    def count(self) -> dict[str, int]:
        """How many cables of each kind are plugged."""
        counts = {
            "MIDI cable": 0 if self.midi is None else self.midi.cables,
            "pedal cable": sum(1 for cable in self.cables if cable.kind == "pedal cable"),
        }
        return {kind: n for kind, n in counts.items() if n}


def control(sketch: Sketch) -> Control:
    """Foot board first, then the controllers as they are declared, then what sends notes to synths."""
    board = tuple(_foot_board(sketch))
    cables = (*board, *_controllers(sketch, bool(board) and bool(sketch.switches)), *_notes(sketch))
    reached = {
        box for cable in cables if cable.kind == "MIDI cable" or cable.into == PEDAL_INPUT for box in cable.boxes
    }
    if not reached:
        return Control(cables)
    in_order = dict.fromkeys(n for state in _states(sketch) for n in block_names(state.chain) if n in reached)
    midi = MidiChain(tuple(c.source for c in cables if c.kind == "MIDI cable"), tuple(in_order))
    return Control(tuple(replace(c, into=midi.into(c.source)) if c.kind == "MIDI cable" else c for c in cables), midi)


def _states(sketch: Sketch) -> list[State]:
    return [sketch.base, *(patch.state for patch in sketch.patches.values())]


def _foot_board(sketch: Sketch) -> Iterator[ControlCable]:
    """Which boxes the patches and switches engage or set."""
    switched = tuple(_switched(sketch))
    if not switched or not (sketch.switches or sketch.patches):
        return
    names = ", ".join(s.name for s in sketch.switches)
    source = f"{FOOT_BOARD} ({names})" if names else "what changes patches"
    programs = any(p.midi_program is not None for p in sketch.patches.values())
    how = "program changes call the patches" if programs else "each box has its settings of every patch stored"
    does = f"engages and sets, by patch, {', '.join(switched)}: {how}; or loops do it"
    yield ControlCable(source, switched, "MIDI cable", "", does)


def _switched(sketch: Sketch) -> Iterator[str]:
    """Boxes that are not the same in every patch, and those with a switch of their own."""
    states = _states(sketch)
    for name in dict.fromkeys(n for state in states for n in block_names(state.chain)):
        entries = [state.blocks[name] for state in states[1:] if name in set(block_names(state.chain))]
        if name in sketch.own_switches or len({(e.common.engaged, settings_json(e.settings)) for e in entries}) > 1:
            yield name


def _controllers(sketch: Sketch, has_board: bool) -> Iterator[ControlCable]:
    for name, entry in sketch.controllers.items():
        moves = dict.fromkeys(
            target for state in _states(sketch) for target, (driver, _) in state.drives.items() if driver == name
        )
        if moves:
            boxes = tuple(dict.fromkeys(block for block, _ in moves))
            does = "moves " + ", ".join(f"{block} {setting_label(setting)}" for block, setting in moves)
            does += "; or each box's own slow wave, out of step" * (entry.type_name == "lfo" and len(boxes) > 1)
            yield ControlCable(_source(name, entry), boxes, *_cable(entry, boxes, has_board), does)


def _cable(entry: ControllerEntry, boxes: tuple[str, ...], has_board: bool) -> tuple[ControlKind, str]:
    """One box may have a pedal input, or a slow wave of its own; what moves several reaches them by MIDI.

    A foot board sends on, as MIDI, what a pedal in its pedal input does.
    """
    by_foot = entry.type_name not in ("envelope", "lfo")
    if len(boxes) == 1 and entry.type_name != "control_change":
        return ("", "") if entry.type_name == "lfo" else ("pedal cable", f"{boxes[0]}, pedal input")
    return ("pedal cable", PEDAL_INPUT) if by_foot and has_board else ("MIDI cable", "")


def _source(name: str, entry: ControllerEntry) -> str:
    says: Any = entry.settings
    match entry.type_name:
        case "control_change":
            return f"{name}: {controller_name(says.controller)}"
        case "envelope":
            heard = "the horn" if entry.listens_to in (None, INPUT) else entry.listens_to
            return f"{follower_name(name)}: the loudness of {heard}"
        case "lfo":
            return f"{name}: a slow wave"
        case _:
            return f"{name}: expression pedal"


def follower_name(controller: str) -> str:
    """What the box is called that follows loudness for a controller."""
    return f"{controller} follower"


def followers(sketch: Sketch) -> dict[str, str]:
    """Boxes beside the chain that follow loudness or pitch of a signal, by what they listen to."""
    found = {
        follower_name(name): entry.listens_to or INPUT
        for name, entry in sketch.controllers.items()
        if entry.type_name == "envelope"
    }
    return {**found, CONVERTER: INPUT} if CONVERTED in _players(sketch) else found


def _notes(sketch: Sketch) -> Iterator[ControlCable]:
    """Synths that play notes which are sent to them."""
    for source, names in _players(sketch).items():
        sender = f"{CONVERTER}: the horn's notes" if source == CONVERTED else f"player of {source}"
        yield ControlCable(sender, tuple(names), "MIDI cable", "", f"sends the notes that {' and '.join(names)} play")


def _players(sketch: Sketch) -> dict[str, list[str]]:
    """Blocks that play what is sent to them, by its source."""
    sources: dict[str, list[str]] = {}
    for state in _states(sketch):
        for name in block_names(state.chain):
            source = note_source(state.blocks[name])
            if source != TRACKED and name not in sources.setdefault(source, []):
                sources[source].append(name)
    return sources


def note_source(entry: BlockEntry) -> str:
    """Where the pitch comes from that a block follows; "track" where it finds it itself, or follows none."""
    return str(getattr(entry.settings, "source", TRACKED))
