"""A board as a graph: its positions, by number, and the gestures that lead from one to another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position
from chainsim.stage.gesture import Gesture


class Step(NamedTuple):
    """One gesture at some position, by number: what it does there, and where it leads, by number."""

    gesture: int
    action: Action
    target: int
    audible: bool


class BoardGraph:
    """Positions and gestures of a board, numbered as they are met.

    Attributes
    ----------
    board : Board
    gestures : list of Gesture
        A press and a hold of every switch.
    positions : list of Position
    """

    def __init__(self, board: Board) -> None:
        self.board = board
        self.gestures = [Gesture(s.name) for s in board.switches]
        self.gestures += [Gesture(s.name, "hold") for s in board.switches]
        self.positions: list[Position] = []
        self._kinds = {a.kind for s in board.switches for a in s.actions}
        self._asked = frozenset(s.press for s in board.switches if s.second_press is not None)
        self._dry_is_asked = any(a.kind in ("patch", "place", "dry") for a in self._asked)
        self._numbers: dict[Position, int] = {}
        self._steps: dict[int, tuple[Step, ...]] = {}

    def forget(self, position: Position) -> Position:
        """The position without that on which none of the switches depends."""
        before = position.before if "back" in self._kinds else None
        bank = position.bank if self._kinds & {"place", "bank", "bank up", "bank down"} else 0
        if (before, bank) == (position.before, position.bank):
            return position
        return replace(position, before=before, bank=bank)

    def number(self, position: Position) -> int:
        """The number of a position; a new one if it was not met before."""
        number = self._numbers.setdefault(position, len(self.positions))
        if number == len(self.positions):
            self.positions.append(position)
        return number

    def steps(self, here: int) -> tuple[Step, ...]:
        """All gestures that lead on from a position."""
        if here not in self._steps:
            self._steps[here] = tuple(self._new_steps(here))
        return self._steps[here]

    def may_help(self, step: Step, goal: Position) -> bool:
        """Whether a least way to the sound of `goal` may hold this step.

        A mute, dry sound or block that is switched away from where the goal has it is switched again, or put back,
        later on. Nothing else goes by it, unless a second press does: without it the way is shorter.
        """
        action, after = step.action, self.positions[step.target]
        if action.kind not in ("mute", "dry", "block") or action in self._asked:
            return True
        if action.kind == "mute":
            return after.muted == goal.muted
        if action.kind == "dry":
            return after.dry == goal.dry or self._dry_is_asked
        kept = action.name in self.board.free_standing or after.patch == goal.patch
        return kept and self.board.is_on(after, action.name) == self.board.is_on(goal, action.name)

    def _new_steps(self, here: int) -> Iterator[Step]:
        position = self.positions[here]
        for k, gesture in enumerate(self.gestures):
            press = self.board.pressed(position, gesture.switch)
            action = press if gesture.kind == "press" else self.board.switch(gesture.switch).hold
            if action is None:
                continue
            after = self.forget(self.board.do(position, action))
            target = self.number(after)
            if target != here:
                yield Step(k, action, target, after.heard != position.heard)
