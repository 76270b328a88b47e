"""Ways from one position of a board to another by presses and holds, each at its least cost.

A cost is one whole number in which six are packed, so that they compare in this order: presses and holds; changes of
sound before the last of them; holds; gestures that follow such a change; haste; how early they are made.

Source: E. W. Dijkstra, "A note on two problems in connexion with graphs", Numerische Mathematik 1 (1959) 269-271.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue

ONE, EARLY, HELD, AFTER, HURRIED = 1 << 100, 1 << 80, 1 << 60, 1 << 40, 1 << 20
"""A gesture, a change before the cue, a hold, a gesture after such a change, and a unit of haste: a million of each are
less than one of that before."""
AMPLE_S = 5.0
"""Where there is so much time, more makes no difference."""


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


def haste(since_s: float | None, at_s: float, cues_to_come: int) -> int:
    """Cost of a gesture by when it is made: the less time there is the more, and of equals the later the less.

    Parameters
    ----------
    since_s : float or None
        The cue before; None where there is none, and so no limit.
    at_s : float
        The cue.
    cues_to_come : int
    """
    units = 0.0 if since_s is None else max(100.0 / max(at_s - since_s, 0.1) - 100.0 / AMPLE_S, 0.0)
    return round(units) * HURRIED + cues_to_come


@dataclass(frozen=True)
class Arrival:
    """The least cost of a position, the position after the cue before, and the gestures in between."""

    cost: int
    origin: Position
    gestures: tuple[Gesture, ...]


class _Step(NamedTuple):
    """One gesture at some position: where it leads, by number, and what it costs."""

    gesture: Gesture
    action: Action
    cost: int
    target: int
    audible: bool


class PressSearch:
    """Positions reached from others by presses and holds, on one board; inside they go by numbers."""

    def __init__(self, board: Board, most_positions: int) -> None:
        self._board = board
        self._most = most_positions
        self._kinds = {a.kind for s in board.switches for a in s.actions}
        self._asked = frozenset(s.press for s in board.switches if s.second_press is not None)
        self._dry_is_asked = any(a.kind in ("patch", "place", "dry") for a in self._asked)
        self._gestures = [Gesture(s.name) for s in board.switches]
        self._gestures += [Gesture(s.name, "hold") for s in board.switches if s.hold is not None]
        self._positions: list[Position] = []
        self._numbers: dict[Position, int] = {}
        self._steps: dict[int, tuple[_Step, ...]] = {}

    def forget(self, position: Position) -> Position:
        """The position without that on which none of the switches depends."""
        before = position.before if "back" in self._kinds else None
        bank = position.bank if self._kinds & {"place", "bank", "bank up", "bank down"} else 0
        if (before, bank) == (position.before, position.bank):
            return position
        return replace(position, before=before, bank=bank)

    def arrivals(
        self, sources: Mapping[Position, int], cue: Cue, goal: Position, haste: int
    ) -> tuple[dict[Position, Arrival], bool]:
        """Every position with the sound of `goal` at its least cost, and whether all ways were looked at.

        Parameters
        ----------
        sources : mapping of Position to cost
        cue : Cue
        goal : Position
            Where the cue would have the board.
        haste : int
            Cost of a gesture, beside its own, at this cue.
        """
        if not (cue.by_foot or cue.is_gesture):
            return self._moved(sources, cue), True
        last = Gesture(cue.name, "press" if cue.kind == "press" else "hold") if cue.is_gesture else None
        own = (last,) if last is not None and cue.by_foot else ()
        heard_before = next(iter(sources)).heard
        best = {self._number(p): cost for p, cost in sources.items()}
        came_from: dict[int, tuple[int, Gesture]] = {}
        queue = [(cost, n) for n, cost in best.items()]
        heapq.heapify(queue)
        found: dict[Position, Arrival] = {}
        settled: set[int] = set()
        while queue:
            cost, here = heapq.heappop(queue)
            if here in settled:
                continue
            if len(settled) == self._most:
                return found, False
            settled.add(here)
            position = self._positions[here]
            landed = position if last is None else self.forget(do_gesture(self._board, position, last))
            if landed.sound == goal.sound and landed not in found:
                origin, gestures = self._way(here, came_from)
                found[landed] = Arrival(cost + sum(_cost(g) + haste for g in own), origin, gestures + own)
                if last is None:
                    continue
            for step in self._steps_from(here):
                after = self._positions[step.target]
                if not self._may_help(step.action, after, goal):
                    continue
                at_once = last is None and after.sound == goal.sound
                longer = cost + step.cost + haste + (EARLY if step.audible and not at_once else 0)
                longer += AFTER if position.heard != heard_before else 0
                if step.target not in best or longer < best[step.target]:
                    best[step.target] = longer
                    came_from[step.target] = here, step.gesture
                    heapq.heappush(queue, (longer, step.target))
        return found, True

    def _moved(self, sources: Mapping[Position, int], cue: Cue) -> dict[Position, Arrival]:
        """All positions after a cue that costs nothing; of those that fall together the least."""
        found: dict[Position, Arrival] = {}
        for position, cost in sorted(sources.items(), key=lambda item: item[1]):
            found.setdefault(self.forget(self._board.apply(position, cue)), Arrival(cost, position, ()))
        return found

    def _number(self, position: Position) -> int:
        number = self._numbers.setdefault(position, len(self._positions))
        if number == len(self._positions):
            self._positions.append(position)
        return number

    def _way(self, here: int, came_from: Mapping[int, tuple[int, Gesture]]) -> tuple[Position, tuple[Gesture, ...]]:
        """Where the way to a position began, and its gestures."""
        gestures = []
        while here in came_from:
            here, gesture = came_from[here]
            gestures.append(gesture)
        return self._positions[here], tuple(reversed(gestures))

    def _steps_from(self, here: int) -> tuple[_Step, ...]:
        if here not in self._steps:
            self._steps[here] = tuple(self._new_steps(here))
        return self._steps[here]

    def _new_steps(self, here: int) -> Iterator[_Step]:
        position = self._positions[here]
        for gesture in self._gestures:
            hold = self._board.switch(gesture.switch).hold if gesture.kind == "hold" else None
            action = hold or self._board.pressed(position, gesture.switch)
            after = self.forget(self._board.do(position, action))
            target = self._number(after)
            if target != here:
                yield _Step(gesture, action, _cost(gesture), target, after.heard != position.heard)

    def _may_help(self, action: Action, after: Position, goal: Position) -> bool:
        """Whether a least way may hold this step.

        A mute, dry sound or block that is switched away from where the goal has it is switched again, or put back,
        later on. Nothing else goes by it, unless a second press does: without it the way is shorter.
        """
        if action.kind not in ("mute", "dry", "block") or action in self._asked:
            return True
        if action.kind == "mute":
            return after.muted == goal.muted
        if action.kind == "dry":
            return after.dry == goal.dry or self._dry_is_asked
        kept = action.name in self._board.free_standing or after.patch == goal.patch
        return kept and self._board.is_on(after, action.name) == self._board.is_on(goal, action.name)


def _cost(gesture: Gesture) -> int:
    return ONE if gesture.kind == "press" else ONE + HELD
