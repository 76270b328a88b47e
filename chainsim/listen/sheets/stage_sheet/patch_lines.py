"""Banks and patches in order, for the stage sheet: what each engages and brings, and what the foot does to reach it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from chainsim.listen.sheets.stage_sheet.chain_line import chain_line
from chainsim.listen.sheets.stage_sheet.spelled_pitch import HornPart
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import Sketch, State
from chainsim.stage.actions import Action
from chainsim.stage.board import Switch


@dataclass(frozen=True)
class KeyNames:
    """A key as it sounds and, for a horn that transposes, as it is read."""

    sounding: str
    written: str | None = None


@dataclass(frozen=True)
class PatchLine:
    """One patch at its place.

    Attributes
    ----------
    place : int or None
        In its bank, from 1; None in no bank.
    name : str
    reached_by : tuple of str
        What chooses it while its bank is open: "A", "C twice", "hold B".
    on : tuple of str
        The blocks that it engages, without those that are always on or have a switch of their own.
    chain : str or None
        Its chain in one line, if that is not the sketch's.
    tempo_bpm, key, a4_hz, trim_db
        What it brings of its own, else None.
    midi_bank, midi_program : int or None
        What calls it, counted from 0; None where nothing does.
    """

    place: int | None
    name: str
    reached_by: tuple[str, ...]
    on: tuple[str, ...]
    chain: str | None
    tempo_bpm: float | None
    key: KeyNames | None
    a4_hz: float | None
    trim_db: float | None
    midi_bank: int | None
    midi_program: int | None


@dataclass(frozen=True)
class BankLines:
    """A bank and its patches in order."""

    name: str
    patches: tuple[PatchLine, ...]


def bank_lines(sketch: Sketch, part: HornPart) -> tuple[BankLines, ...]:
    """Every bank in order."""
    return tuple(
        BankLines(bank.name, tuple(_patch(sketch, name, place, part) for place, name in enumerate(bank.patches, 1)))
        for bank in sketch.banks
    )


def patches_in_no_bank(sketch: Sketch, part: HornPart) -> tuple[PatchLine, ...]:
    """The patches that only their names, or MIDI, reach."""
    in_banks = {name for bank in sketch.banks for name in bank.patches}
    return tuple(_patch(sketch, name, None, part) for name in sketch.patches if name not in in_banks)


def key_names(state: State, part: HornPart) -> KeyNames | None:
    """The key of a state, if it has one."""
    if state.key is None:
        return None
    return KeyNames(state.key, part.key(state.key) if part.transposes else None)


def _patch(sketch: Sketch, name: str, place: int | None, part: HornPart) -> PatchLine:
    patch, base = sketch.patches[name], sketch.base
    state = patch.state
    by_patch = [n for n in block_names(state.chain) if state.blocks[n].common.switching == "by_patch"]
    return PatchLine(
        place=place,
        name=name,
        reached_by=tuple(gesture for s in sketch.switches for gesture in _gestures(s, name, place)),
        on=tuple(n for n in by_patch if state.blocks[n].common.engaged),
        chain=None if state.chain == base.chain else chain_line(state.chain),
        tempo_bpm=state.tempo_bpm if patch.sets_tempo else None,
        key=None if state.key == base.key else key_names(state, part),
        a4_hz=None if state.a4_hz == base.a4_hz else state.a4_hz,
        trim_db=None if state.trim_db == base.trim_db else state.trim_db,
        midi_bank=None if patch.midi_program is None else patch.midi_bank,
        midi_program=patch.midi_program,
    )


def _gestures(switch: Switch, patch: str, place: int | None) -> Iterator[str]:
    """What to do on one switch to choose a patch."""
    ways = (
        (switch.press, switch.name),
        (switch.second_press, f"{switch.name} twice"),
        (switch.hold, f"hold {switch.name}"),
    )
    return (gesture for action, gesture in ways if action is not None and _chooses(action, patch, place))


def _chooses(action: Action, patch: str, place: int | None) -> bool:
    return (action.kind == "patch" and action.name == patch) or (action.kind == "place" and action.place == place)
