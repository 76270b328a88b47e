"""What a foot does, and the time from where one gesture acts to where the next does.

    t = down(a) - acts(a) + acts(b)
    acts = 0 for a press, release for a press of a switch that also has a hold, hold for a hold
    down = max(gap, acts) for a press, hold + gap for a hold

where gap is that of one switch or of two. A cue that is a gesture says when the foot comes down; it acts so much later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot


@dataclass(frozen=True)
class Gesture:
    """One thing that a foot does."""

    switch: str
    kind: Literal["press", "hold"] = "press"

    @property
    def text(self) -> str:
        """In plain words: "A", or "hold A"."""
        return self.switch if self.kind == "press" else f"hold {self.switch}"


def do_gesture(board: Board, position: Position, gesture: Gesture) -> Position:
    """Position after a press or a hold."""
    step = board.press if gesture.kind == "press" else board.hold
    return step(position, gesture.switch)


def asked_gesture(cue: Cue) -> Gesture | None:
    """The gesture that a cue asks for, if it asks for one."""
    return Gesture(cue.name, "press" if cue.kind == "press" else "hold") if cue.is_gesture else None


@dataclass(frozen=True)
class Pace:
    """How fast one foot is on one board; in whole nanoseconds, so that sums are the same in any order."""

    board: Board
    foot: Foot

    def between_ns(self, first: Gesture, then: Gesture) -> int:
        """Time from where one gesture acts to where the next does: the equation above."""
        foot = self.foot
        gap_ms = foot.same_switch_ms if first.switch == then.switch else foot.other_switch_ms
        acts_ms = self._acts_ms(first)
        down_ms = foot.hold_ms + gap_ms if first.kind == "hold" else max(gap_ms, acts_ms)
        return round(1e6 * (down_ms - acts_ms + self._acts_ms(then)))

    def acts_at_s(self, cue: Cue) -> float:
        """When a cue acts: a hold when it was held, a press where a hold may come of it when the switch is let go."""
        gesture = asked_gesture(cue)
        return cue.at_s + (0.0 if gesture is None else self._acts_ms(gesture) / 1000.0)

    def _acts_ms(self, gesture: Gesture) -> float:
        if gesture.kind == "hold":
            return self.foot.hold_ms
        return 0.0 if self.board.switch(gesture.switch).hold is None else self.foot.release_ms


def to_ns(time_s: float) -> int:
    """A time in whole nanoseconds."""
    return round(1e9 * time_s)
