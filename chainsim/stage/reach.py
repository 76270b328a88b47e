"""The fewest presses for a cue list, found exactly.

A cue asks for a sound. What is silent besides (which bank is open, which patch was before) is free, and decides what
later cues cost. So every position that has the sound is kept, cue by cue, with the least cost at which it is reached:
dynamic programming over the silent part. Between two cues Dijkstra's algorithm goes over single presses and holds. A
cost is (presses and holds, wrong sounds on the way, holds), compared in this order.

Source: E. W. Dijkstra, "A note on two problems in connexion with graphs", Numerische Mathematik 1 (1959) 269-271;
R. Bellman, Dynamic Programming (1957).
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from chainsim.stage.actions import Action
from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue

MOST_POSITIONS = 10_000
"""Positions looked at for one cue: 32 patches in eight banks with a switch that goes back have about as many."""

ONE, WRONG, HELD = 1 << 40, 1 << 20, 1
"""A cost is one number: presses and holds, then wrong sounds, then holds; a million of one are less than one before."""


@dataclass(frozen=True)
class Gesture:
    """One thing that a foot does."""

    switch: str
    kind: Literal["press", "hold"] = "press"

    @property
    def text(self) -> str:
        """In plain words: "A", or "hold A"."""
        return self.switch if self.kind == "press" else f"hold {self.switch}"


@dataclass(frozen=True)
class Reach:
    """How a foot comes to what one cue asks for.

    Attributes
    ----------
    cue : Cue
    gestures : tuple of Gesture, or None
        In order, the last at the cue's time; empty where there is nothing to do; None where no way was found.
    silent : tuple of bool
        Of each gesture, whether nothing is heard of it.
    passes : tuple of str
        Sounds that are heard on the way and that nobody asked for.
    position : Position
        Where the board stands afterwards: where no way was found, where the cue would have it.
    with_next : bool
        Whether the next cue, at the same instant, takes this one along.
    searched_all : bool
        False where the search ended at its bound: there may be a shorter way, or a way at all.
    """

    cue: Cue
    gestures: tuple[Gesture, ...] | None
    silent: tuple[bool, ...]
    passes: tuple[str, ...]
    position: Position
    with_next: bool = False
    searched_all: bool = True

    @property
    def ahead(self) -> int:
        """How many of the gestures may be done at leisure, before the cue: the silent ones at the beginning."""
        return sum(1 for _ in itertools.takewhile(bool, self.silent[:-1]))


def do_gesture(board: Board, position: Position, gesture: Gesture) -> Position:
    """Position after a press or a hold."""
    step = board.press if gesture.kind == "press" else board.hold
    return step(position, gesture.switch)


def fewest_presses(board: Board, cues: Sequence[Cue], most_positions: int = MOST_POSITIONS) -> tuple[Reach, ...]:
    """Find for each cue the gestures that lead there, so that their number over the whole list is least.

    Of equal numbers that with the fewest wrong sounds on the way, then that with the fewest holds. What a cue asks
    for is what `Board.apply` makes of it, one cue after the other. A cue that is a press or a hold ends in that
    gesture; a bank may have to be opened before it. Cues at one instant are one aim, up to one that is a gesture or
    not by foot. Where no way leads to a cue, the list goes on from where the cue would have the board.

    Parameters
    ----------
    board : Board
    cues : sequence of Cue, in order of time
    most_positions : int > 0
        Positions that may be looked at for one cue.

    Raises
    ------
    SettingError
        If a cue or a switch names a patch, bank or switch that there is not.
    """
    wanted = list(itertools.accumulate(cues, board.apply, initial=board.start()))
    search = _Search(board, most_positions)
    sources: dict[Position, int] = {search.forget(wanted[0]): 0}
    layers: list[dict[Position, _Arrival]] = []
    whole: list[bool] = []
    joined = [*itertools.starmap(_joins, itertools.pairwise(cues)), False][: len(cues)]
    for cue, goal, with_next in zip(cues, wanted[1:], joined, strict=True):
        if with_next:
            found, searched_all = {p: _Arrival(cost, p, ()) for p, cost in sources.items()}, True
        else:
            found, searched_all = search.arrivals(sources, cue, goal)
        layers.append(found)
        whole.append(searched_all)
        sources = {p: a.cost for p, a in found.items()} or {search.forget(goal): 0}
    ways = _traced_back(layers)
    reaches, position = [], board.start()
    for k, (cue, way) in enumerate(zip(cues, ways, strict=True)):
        reach = _told(board, position, cue, way, wanted[k + 1])
        reaches.append(replace(reach, with_next=joined[k], searched_all=whole[k]))
        position = reach.position
    return tuple(reaches)


@dataclass(frozen=True)
class _Arrival:
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


class _Search:
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
        self, sources: Mapping[Position, int], cue: Cue, goal: Position
    ) -> tuple[dict[Position, _Arrival], bool]:
        """Every position with the sound of `goal` at its least cost, and whether all ways were looked at."""
        if not (cue.by_foot or cue.is_gesture):
            return self._moved(sources, cue), True
        last = Gesture(cue.name, "press" if cue.kind == "press" else "hold") if cue.is_gesture else None
        own = (last,) if last is not None and cue.by_foot else ()
        free = self._asked | frozenset(self._board.switch(cue.name).actions if last else ())
        best = {self._number(p): cost for p, cost in sources.items()}
        came_from: dict[int, tuple[int, Gesture]] = {}
        queue = [(cost, n) for n, cost in best.items()]
        heapq.heapify(queue)
        found: dict[Position, _Arrival] = {}
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
                found[landed] = _Arrival(cost + sum(map(_cost, own)), origin, gestures + own)
                if last is None:
                    continue
            for step in self._steps_from(here):
                after = self._positions[step.target]
                if not self._may_help(step.action, after, goal, free):
                    continue
                longer = cost + step.cost + (WRONG if step.audible and after.heard != goal.heard else 0)
                if step.target not in best or longer < best[step.target]:
                    best[step.target] = longer
                    came_from[step.target] = here, step.gesture
                    heapq.heappush(queue, (longer, step.target))
        return found, True

    def _moved(self, sources: Mapping[Position, int], cue: Cue) -> dict[Position, _Arrival]:
        """All positions after a cue that costs nothing; of those that fall together the least."""
        found: dict[Position, _Arrival] = {}
        for position, cost in sorted(sources.items(), key=lambda item: item[1]):
            found.setdefault(self.forget(self._board.apply(position, cue)), _Arrival(cost, position, ()))
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

    def _may_help(self, action: Action, after: Position, goal: Position, free: frozenset[Action]) -> bool:
        """Whether a least way may hold this step.

        A mute, dry sound or block that is switched away from where the goal has it is switched again, or put back,
        later on. Nothing else goes by it, unless a second press does, or it is the cue's own switch (`free`): without
        it the way is shorter.
        """
        if action.kind not in ("mute", "dry", "block") or action in free:
            return True
        if action.kind == "mute":
            return after.muted == goal.muted
        if action.kind == "dry":
            return after.dry == goal.dry or self._dry_is_asked
        kept = action.name in self._board.free_standing or after.patch == goal.patch
        return kept and self._board.is_on(after, action.name) == self._board.is_on(goal, action.name)


def _cost(gesture: Gesture) -> int:
    return ONE if gesture.kind == "press" else ONE + HELD


def _joins(cue: Cue, after: Cue) -> bool:
    """Whether a cue and the next are one aim."""
    return cue.at_s == after.at_s and all(c.by_foot and not c.is_gesture for c in (cue, after))


def _traced_back(layers: Sequence[Mapping[Position, _Arrival]]) -> list[tuple[Gesture, ...] | None]:
    """The gestures of each cue on the cheapest way through all of them; None where a layer is empty."""
    ways: list[tuple[Gesture, ...] | None] = []
    end: Position | None = None
    for layer in reversed(layers):
        if not layer:
            ways.append(None)
            end = None
            continue
        arrival = layer[end] if end is not None else min(layer.values(), key=lambda a: a.cost)
        ways.append(arrival.gestures)
        end = arrival.origin
    return ways[::-1]


def _told(board: Board, position: Position, cue: Cue, gestures: tuple[Gesture, ...] | None, wanted: Position) -> Reach:
    """What is heard of the gestures."""
    if gestures is None:
        return Reach(cue, None, (), (), wanted)
    silent, passes = [], []
    for gesture in gestures:
        after = do_gesture(board, position, gesture)
        silent.append(after.heard == position.heard)
        if not silent[-1] and after.heard != wanted.heard:
            passes.append(after.text)
        position = after
    if not cue.by_foot:
        position = board.apply(position, cue)
    return Reach(cue, gestures, tuple(silent), tuple(passes), position)
