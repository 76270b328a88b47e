"""The switches under the foot and what they reach: pure rules on names, without sound.

Choosing a patch ends the dry sound, puts back the blocks that were switched (free-standing ones stay as they are) and
keeps the mute, so that a patch can be chosen in silence. It goes to the first bank that holds the patch, unless the
bank that is open holds it. Changing the bank only changes what the places mean: nothing is heard of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal, TypeVar

from chainsim.errors import SettingError, nearest
from chainsim.stage.actions import Action
from chainsim.stage.cues import Cue

T = TypeVar("T")

Sound = tuple[str | None, frozenset[tuple[str, bool]], bool, bool]
"""Patch, switched blocks, dry, muted: what can be heard of a position."""


@dataclass(frozen=True)
class Bank:
    """An ordered list of patches."""

    name: str
    patches: tuple[str, ...]


@dataclass(frozen=True)
class Switch:
    """What one switch does and shows.

    Attributes
    ----------
    name : str
    press : Action
    second_press : Action or None
        Done instead of `press` while what `press` does is in force.
    hold : Action or None
    lamp : {"press", "hold", "none"}
        What lights it: that which a press, or a hold, does is in force.
    midi_cc : int or None
        Controller that presses it, 64 or more being down.
    """

    name: str
    press: Action
    second_press: Action | None = None
    hold: Action | None = None
    lamp: Literal["press", "hold", "none"] = "press"
    midi_cc: int | None = None

    @property
    def actions(self) -> tuple[Action, ...]:
        """All that it can do."""
        return tuple(a for a in (self.press, self.second_press, self.hold) if a is not None)


@dataclass(frozen=True)
class Position:
    """Where the board stands.

    Attributes
    ----------
    patch : str or None
        None is the sketch as written, before any patch was chosen.
    bank : int
        The bank that is open, from 0.
    switched : frozenset of (block, whether it is engaged)
        Only those that differ from what the patch says (free-standing ones: from what the sketch says).
    dry, muted : bool
    before : str or None
        The patch before this one, if there was one.
    """

    patch: str | None = None
    bank: int = 0
    switched: frozenset[tuple[str, bool]] = frozenset()
    dry: bool = False
    muted: bool = False
    before: str | None = None

    @property
    def sound(self) -> Sound:
        """All but what is silent: the bank and the patch before."""
        return self.patch, self.switched, self.dry, self.muted

    @property
    def heard(self) -> Sound:
        """What reaches the house: under a mute, or dry, nothing is heard of patch and blocks."""
        return (None, frozenset(), self.dry and not self.muted, self.muted) if self.muted or self.dry else self.sound

    @property
    def text(self) -> str:
        """What is heard, in plain words: "chorale with echo off", "dry", "muted"."""
        if self.muted or self.dry:
            return "muted" if self.muted else "dry"
        changes = " and ".join(f"{name} {'on' if on else 'off'}" for name, on in sorted(self.switched))
        return (self.patch or "the sketch as written") + (f" with {changes}" if changes else "")


@dataclass(frozen=True)
class Board:
    """Banks and switches over the patches of a sketch.

    Attributes
    ----------
    banks : tuple of Bank
    switches : tuple of Switch
    engaged : mapping of patch to frozenset of block names
        The blocks that each patch engages; under None, those of the sketch as written.
    free_standing : frozenset of block names
        Blocks that only their own switch engages and disengages, whatever the patch.
    first_patch : str or None
        In force from the start.
    """

    banks: tuple[Bank, ...] = ()
    switches: tuple[Switch, ...] = ()
    engaged: Mapping[str | None, frozenset[str]] = field(default_factory=dict)
    free_standing: frozenset[str] = frozenset()
    first_patch: str | None = None

    def start(self) -> Position:
        """Where the board stands before anything was done."""
        return Position(self.first_patch, self._bank_with(self.first_patch, 0))

    def do(self, position: Position, action: Action) -> Position:
        """Position after an action; a place that the bank does not have, a tap, and "back" at the start change nothing.

        Raises
        ------
        SettingError
            If it names a patch or bank that there is not.
        """
        match action.kind:
            case "patch":
                return self._choose(position, action.name)
            case "place":
                patch = self._at_place(position, action.place)
                return position if patch is None else self._choose(position, patch)
            case "back":
                return position if position.before is None else self._choose(position, position.before)
            case "bank":
                return replace(position, bank=self._bank_index(action.name))
            case "bank up" | "bank down":
                step = 1 if action.kind == "bank up" else -1
                return replace(position, bank=(position.bank + step) % max(len(self.banks), 1))
            case "block":
                return self._engage(position, action.name, not self.is_on(position, action.name))
            case "dry":
                return replace(position, dry=not position.dry)
            case "mute":
                return replace(position, muted=not position.muted)
            case "tap":
                return position

    def pressed(self, position: Position, switch: str) -> Action:
        """What a press of a switch does at this position: its second press while its first is in force."""
        found = self.switch(switch)
        second = found.second_press
        return second if second is not None and self.in_force(position, found.press) else found.press

    def press(self, position: Position, switch: str) -> Position:
        """Position after a press of a switch."""
        return self.do(position, self.pressed(position, switch))

    def hold(self, position: Position, switch: str) -> Position:
        """Position after a switch was held; one without a hold does nothing."""
        action = self.switch(switch).hold
        return position if action is None else self.do(position, action)

    def apply(self, position: Position, cue: Cue) -> Position:
        """Position after a cue: a press or hold as the foot does it, all else set to what the cue says.

        Raises
        ------
        SettingError
            If it names a patch or switch that there is not.
        """
        match cue.kind:
            case "patch":
                return self._choose(position, cue.name)
            case "press":
                return self.press(position, cue.name)
            case "hold":
                return self.hold(position, cue.name)
            case "block":
                return self._engage(position, cue.name, cue.on)
            case "mute":
                return replace(position, muted=cue.on)
            case "dry":
                return replace(position, dry=cue.on)

    def is_on(self, position: Position, block: str) -> bool:
        """Whether a block is engaged."""
        return (block, True) in position.switched or (
            (block, False) not in position.switched and self._as_written(position, block)
        )

    def in_force(self, position: Position, action: Action) -> bool:
        """Whether what an action does is so already; steps, taps and "back" never are.

        A patch is not in force while the horn is dry: choosing it again ends that.
        """
        match action.kind:
            case "patch":
                return position.patch == action.name and not position.dry
            case "place":
                patch = self._at_place(position, action.place)
                return patch is not None and patch == position.patch and not position.dry
            case "bank":
                return position.bank == self._bank_index(action.name)
            case "block":
                return self.is_on(position, action.name)
            case "dry":
                return position.dry
            case "mute":
                return position.muted
            case _:
                return False

    def lamps(self, position: Position) -> dict[str, bool]:
        """Which switches' lamps are lit, by name, in the order of the board."""
        return {s.name: self._lit(position, s) for s in self.switches}

    def switch(self, name: str) -> Switch:
        """The switch of this name."""
        return _known(name, self._switches, "switch")

    def _lit(self, position: Position, switch: Switch) -> bool:
        shown = {"press": switch.press, "hold": switch.hold, "none": None}[switch.lamp]
        return shown is not None and self.in_force(position, shown)

    def _choose(self, position: Position, patch: str) -> Position:
        if patch not in self.engaged:
            _known(patch, {p: p for p in self.engaged if p is not None}, "patch")
        return Position(
            patch,
            self._bank_with(patch, position.bank),
            frozenset(s for s in position.switched if s[0] in self.free_standing),
            muted=position.muted,
            before=position.before if patch == position.patch else position.patch,
        )

    def _at_place(self, position: Position, place: int) -> str | None:
        patches = self.banks[position.bank].patches if self.banks else ()
        return patches[place - 1] if 1 <= place <= len(patches) else None

    def _engage(self, position: Position, block: str, on: bool) -> Position:
        others = position.switched - {(block, True), (block, False)}
        differs = on != self._as_written(position, block)
        return replace(position, switched=others | {(block, on)} if differs else others)

    def _as_written(self, position: Position, block: str) -> bool:
        return block in self.engaged.get(None if block in self.free_standing else position.patch, ())

    def _bank_with(self, patch: str | None, open_bank: int) -> int:
        holding = self._holding.get(patch, ())
        return open_bank if open_bank in holding or not holding else holding[0]

    def _bank_index(self, name: str) -> int:
        return _known(name, self._banks, "bank")

    @cached_property
    def _switches(self) -> dict[str, Switch]:
        return {s.name: s for s in self.switches}

    @cached_property
    def _holding(self) -> dict[str | None, list[int]]:
        """The banks that hold each patch."""
        found: dict[str | None, list[int]] = {}
        for i, bank in enumerate(self.banks):
            for patch in bank.patches:
                found.setdefault(patch, []).append(i)
        return found

    @cached_property
    def _banks(self) -> dict[str, int]:
        return {bank.name: i for i, bank in enumerate(self.banks)}


def _known(name: str, table: Mapping[str, T], what: str) -> T:
    if name not in table:
        raise SettingError(f'no {what} "{name}"{nearest(name, table)}')
    return table[name]
