"""A moment in a take at which a patch, a switch, a block, the dry sound or the mute is due."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

CueKind = Literal["patch", "press", "hold", "block", "mute", "dry"]


@dataclass(frozen=True)
class Cue:
    """From this time on: this patch, or what this press does, or this block, the mute or the dry sound on or off.

    Attributes
    ----------
    at_s : float
        Time in the take. Of a press or a hold, when the foot comes down: `chainsim.stage.gesture.Pace.acts_at_s` says
        when it acts.
    kind : {"patch", "press", "hold", "block", "mute", "dry"}
        "press" and "hold" are that gesture on a switch, exactly; the others say what is to be in force, however it is
        reached.
    name : str
        Of the patch, switch or block.
    on : bool
        For "block", "mute" and "dry".
    by_foot : bool
        False where something else sends it over MIDI: then it costs the foot nothing.
    bar : str
        The bar, or bar:beat, that it was written as, if it was.
    """

    at_s: float
    kind: CueKind
    name: str = ""
    on: bool = True
    by_foot: bool = True
    bar: str = ""

    @property
    def is_gesture(self) -> bool:
        """Whether it asks for one press or hold, and not for what is in force afterwards."""
        return self.kind in ("press", "hold")

    @property
    def text(self) -> str:
        """What is due, in plain words: "patch chorale", "press A", "echo off", "mute on"."""
        if self.kind in ("patch", "press", "hold"):
            return f"{self.kind} {self.name}"
        return f"{self.name if self.kind == 'block' else self.kind} {'on' if self.on else 'off'}"

    @property
    def when(self) -> str:
        """Its time as a reader looks for it: "bar 17", "bar 17:3", or "12.5 s"."""
        return f"bar {self.bar.removesuffix(':1')}" if self.bar else f"{self.at_s:.6g} s"
