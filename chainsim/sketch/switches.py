"""Reading what lies under the foot: banks, switches, and how fast the foot is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from chainsim.errors import nearest
from chainsim.settings import Settings, choice, readable_by, whole, words
from chainsim.sketch.model import BlockEntry, Patch, State
from chainsim.sketch.reading import list_of, read_settings
from chainsim.stage.actions import NEVER_IN_FORCE, Action, parse_action
from chainsim.stage.board import Bank, Board, Switch
from chainsim.stage.foot import Foot

Does = Annotated[str, readable_by(parse_action)]


PARTS = ("press", "second_press", "hold")


class BankSettings(Settings):
    """A bank: patches in order."""

    name: str = words("", "what the bank is called")
    patches: list[str] = Field(description="names of patches, in order")


class SwitchSettings(Settings):
    """A switch: what a press, a second press and a hold do."""

    name: str = words("", "what is written under it")
    press: Does = Field(description='what a press does, such as "patch chorale", "place 2" or "mute"')
    second_press: Does | None = words(None, "what a press does while what the first one did is in force")
    hold: Does | None = words(None, "what holding it down does")
    lamp: Literal["press", "hold", "none"] = choice("press", "whose effect it shows by its light")
    midi_cc: int | None = whole(None, 1, 119, "control change that it sends: 64 or more when pressed, less when let go")

    @field_validator("midi_cc")
    @classmethod
    def _is_no_bank_select(cls, number: int | None) -> int | None:
        if number == 32:
            raise ValueError("= 32, which selects banks (with 0); allowed another one up to 119")
        return number


def read_banks(values: Mapping[str, Any], patches: Mapping[str, Any], faults: list[str]) -> tuple[Bank, ...]:
    """Read the banks, in order."""
    banks: list[Bank] = []
    for i, table in enumerate(list_of(values, "banks", faults)):
        read = read_settings(BankSettings, table, f"banks[{i}]", faults)
        if read is None:
            continue
        for name in read.patches:
            if name not in patches:
                faults.append(f'banks[{i}].patches: no patch "{name}"{nearest(name, patches)}')
        if not read.patches:
            faults.append(f"banks[{i}].patches: empty, allowed at least one patch")
        name = read.name or str(i + 1)
        if name in ("up", "down"):
            faults.append(f'banks[{i}].name: "bank {name}" goes to the next bank or back; name it otherwise')
        if name in {b.name for b in banks}:
            faults.append(f'banks[{i}].name: there are two banks "{name}"')
        banks.append(Bank(name, tuple(read.patches)))
    return tuple(banks)


def read_switches(
    values: Mapping[str, Any],
    blocks: Mapping[str, BlockEntry],
    patches: Mapping[str, Patch],
    banks: tuple[Bank, ...],
    faults: list[str],
) -> tuple[Switch, ...]:
    """Read the switches, in order."""
    switches: list[Switch] = []
    for i, table in enumerate(list_of(values, "switches", faults)):
        place = f"switches[{i}]"
        bare = [part for part in PARTS if isinstance(table.get(part), str) and table[part] in patches]
        faults += [f'{place}.{part} = "{table[part]}", allowed what it does: "patch {table[part]}"' for part in bare]
        read = read_settings(SwitchSettings, {**table, **dict.fromkeys(bare, "dry")}, place, faults)
        if read is None:
            continue
        name = read.name or str(i + 1)
        switch = Switch(
            name=name,
            press=parse_action(read.press),
            second_press=None if read.second_press is None else parse_action(read.second_press),
            hold=None if read.hold is None else parse_action(read.hold),
            lamp=read.lamp,
            midi_cc=read.midi_cc,
        )
        for other in switches:
            if other.name == name:
                faults.append(f'{place}.name: two switches claim one press of "{name}"')
            if other.midi_cc is not None and other.midi_cc == switch.midi_cc:
                faults.append(f'{place}.midi_cc: "{name}" and "{other.name}" both claim controller {switch.midi_cc}')
        if switch.second_press is not None and switch.press.kind in NEVER_IN_FORCE:
            faults.append(f'{place}.second_press: never comes: what "{switch.press.text}" does is over at once')
        for part, action in _actions(switch):
            faults += _wrong(action, f"{place}.{part}", blocks, patches, banks)
        switches.append(switch)
    return tuple(switches)


def read_foot(values: Mapping[str, Any], faults: list[str]) -> Foot:
    """Read how fast the foot is."""
    found = values.get("foot", {})
    if not isinstance(found, dict):
        faults.append("foot: allowed a table: [foot]")
        return Foot()
    return read_settings(Foot, found, "foot", faults) or Foot()


def board_of(base: State, patches: Mapping[str, Patch], banks: tuple[Bank, ...], switches: tuple[Switch, ...]) -> Board:
    """Banks, switches and patches as one thing to press."""
    engaged: dict[str | None, frozenset[str]] = {None: base.engaged}
    engaged.update({name: patch.state.engaged for name, patch in patches.items()})
    free = frozenset(n for n, b in base.blocks.items() if b.common.switching == "free_standing")
    engaged[None] = base.engaged | {n for n in free if base.blocks[n].common.engaged}
    return Board(banks, switches, engaged, free)


def _actions(switch: Switch) -> Iterator[tuple[str, Action]]:
    for part in PARTS:
        action = getattr(switch, part)
        if action is not None:
            yield part, action


def _wrong(
    action: Action, place: str, blocks: Mapping[str, BlockEntry], patches: Mapping[str, Patch], banks: tuple[Bank, ...]
) -> Iterator[str]:
    """What an action names that is not there."""
    if action.kind == "patch" and action.name not in patches:
        yield f'{place}: no patch "{action.name}"{nearest(action.name, patches)}'
    if action.kind in ("bank", "bank up", "bank down", "place") and not banks:
        yield f"{place}: there are no banks: [[banks]]"
    names = [b.name for b in banks]
    if action.kind == "bank" and banks and action.name not in names:
        yield f'{place}: no bank "{action.name}"{nearest(action.name, names)}'
    longest = max((len(b.patches) for b in banks), default=0)
    if action.kind == "place" and banks and action.place > longest:
        yield f"{place}: place {action.place}, the longest bank has {longest}"
    if action.kind == "block":
        if action.name not in blocks:
            yield f'{place}: no block "{action.name}"{nearest(action.name, blocks)}'
        elif blocks[action.name].common.switching == "always_on":
            yield f'{place}: "{action.name}" is always on, so no switch engages it'
