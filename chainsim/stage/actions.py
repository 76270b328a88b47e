"""What a switch does, as a musician writes it: "patch chorale", "place 2", "bank up", "block echo", "mute"."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from chainsim.errors import SettingError, nearest

ActionKind = Literal["patch", "place", "bank", "bank up", "bank down", "block", "dry", "mute", "tap", "back"]

ALLOWED = '"patch NAME", "place N", "bank up", "bank down", "bank NAME", "block NAME", "dry", "mute", "tap", "back"'
"""Every form an action may have, for messages."""

NEVER_IN_FORCE: tuple[ActionKind, ...] = ("bank up", "bank down", "tap", "back")
"""Steps: nothing is left of them that a lamp could show or a second press find."""

_NAMED: dict[str, ActionKind] = {"patch": "patch", "bank": "bank", "block": "block"}
_BARE: dict[str, ActionKind] = {"dry": "dry", "mute": "mute", "tap": "tap", "back": "back"}
_BANK_STEPS: dict[str, ActionKind] = {"up": "bank up", "down": "bank down"}


@dataclass(frozen=True)
class Action:
    """One thing that a press or a hold does.

    Attributes
    ----------
    kind : str
        "patch": choose the patch `name`. "place": choose the patch at `place` of the bank. "bank": go to the bank
        `name`; "bank up", "bank down": to the next or the one before. "block": engage the block `name`, or disengage
        it. "dry": the plain horn, or the chain again. "mute": silence, or sound again. "tap": one tap of the tempo.
        "back": choose the patch before.
    name : str
        Of the patch, bank or block.
    place : int
        Counted from 1.
    """

    kind: ActionKind
    name: str = ""
    place: int = 0

    @property
    def text(self) -> str:
        """The action as it is written."""
        return f"{self.kind} {self.place}" if self.kind == "place" else f"{self.kind} {self.name}".strip()


def parse_action(text: str) -> Action:
    """Read an action.

    Parameters
    ----------
    text : str
        "patch NAME", "place N", "bank up", "bank down", "bank NAME", "block NAME", "dry", "mute", "tap" or "back". A
        name is the rest of the text, spaces and all.

    Raises
    ------
    SettingError
        If it is none of these.
    """
    verb, _, rest = text.strip().partition(" ")
    verb, rest = verb.lower(), rest.strip()
    if verb in _BARE and not rest:
        return Action(_BARE[verb])
    if verb == "bank" and rest.lower() in _BANK_STEPS:
        return Action(_BANK_STEPS[rest.lower()])
    if verb in _NAMED and rest:
        return Action(_NAMED[verb], rest)
    if verb == "place":
        if rest.isascii() and rest.isdigit() and len(rest) < 9 and int(rest) > 0:
            return Action("place", place=int(rest))
        raise SettingError(f'"{text}": allowed "place N", the Nth patch of the bank, from 1 on')
    if verb in _NAMED:
        raise SettingError(f'"{text}": which {verb}? Allowed "{verb} NAME"')
    if verb in _BARE:
        raise SettingError(f'"{text}": "{verb}" stands alone')
    raise SettingError(f'no action "{text}", allowed {ALLOWED}{nearest(verb, (*_NAMED, "place", *_BARE))}')
