"""Ways from one position of a board to another by presses and holds, each at its least cost.

A cost is one whole number in which eight are packed, so that they compare in this order: cues to which a foot comes too
late; presses and holds; how early in the list such a cue is; changes of sound before the last gesture; holds; gestures
that follow such a change; haste; how early they are made.

Beside its cost a way has a time: the earliest at which its last gesture can act. Of two ways to one position neither
need be better in both, so all are kept that no other is at least as good as in both: a shortest path by two criteria.

Sources: E. W. Dijkstra, "A note on two problems in connexion with graphs", Numerische Mathematik 1 (1959) 269-271;
P. Hansen, "Bicriterion path problems", in Multiple Criteria Decision Making: Theory and Application (1980) 109-127.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from chainsim.stage.board import Board, Position
from chainsim.stage.board_graph import BoardGraph, Step
from chainsim.stage.cues import Cue
from chainsim.stage.gesture import Gesture, Pace, asked_gesture, do_gesture

TOO_FAST, ONE, SOONER, EARLY, HELD, AFTER, HURRIED = (1 << bits for bits in range(140, 0, -20))
"""A cue that comes too fast, a gesture, a cue that comes after one that is too fast, a change before the cue, a hold, a
gesture after such a change, and a unit of haste: a million of each are less than one of that before."""
AMPLE_S = 5.0
"""Where there is so much time, more makes no difference."""
TOLERANCE_NS = 1
"""Both ends of a time are rounded."""
NEVER_NS = -(1 << 60)
"""When a foot last did something that has done nothing yet."""
_UNTIMED = -(1 << 61)
"""Time of a way whose time makes no difference: there is no limit, or it is too late already."""


class Window(NamedTuple):
    """The time for the gestures of one cue.

    Attributes
    ----------
    since_ns : int or None
        The cue before; None where there is none, and so no limit.
    until_ns : int
        The cue.
    cues_to_come : int
    """

    since_ns: int | None
    until_ns: int
    cues_to_come: int

    @property
    def haste(self) -> int:
        """Cost of a gesture by when it is made: the less time there is the more, and of equals the later the less."""
        if self.since_ns is None:
            return self.cues_to_come
        units = max(100.0 / max((self.until_ns - self.since_ns) / 1e9, 0.1) - 100.0 / AMPLE_S, 0.0)
        return round(units) * HURRIED + self.cues_to_come

    @property
    def late(self) -> int:
        """Cost of coming too late: of equally many presses, those that are late at the later cue."""
        return TOO_FAST + SOONER * self.cues_to_come


class Standing(NamedTuple):
    """Where the board stands, what the foot did last and when that acted; without a pace as if it had done nothing."""

    position: Position
    last: Gesture | None = None
    acted_ns: int = NEVER_NS


@dataclass(frozen=True)
class Arrival:
    """The least cost of a standing, that after the cue before, and the gestures in between; None: there is no way."""

    cost: int
    origin: Standing
    gestures: tuple[Gesture, ...] | None


class _Way(NamedTuple):
    """A way to a position: its cost, when its last gesture acts, where it ends, that gesture, and the way it prolongs.

    Those from -1 down are the sources.
    """

    cost: int
    acts_ns: int
    here: int
    last: int
    parent: int


class PressSearch:
    """Positions reached from others by presses and holds, on one board.

    Parameters
    ----------
    board : Board
    most_positions : int > 0
        Positions that may be looked at for one cue.
    pace : Pace, optional
        Without it nothing is too fast.
    """

    def __init__(self, board: Board, most_positions: int, pace: Pace | None = None) -> None:
        self.graph = BoardGraph(board)
        self.most_positions = most_positions
        self.times = GestureTimes(self.graph.gestures, pace)

    def arrivals(
        self, sources: Mapping[Standing, int], cue: Cue, goal: Position, window: Window
    ) -> tuple[dict[Standing, Arrival], bool]:
        """All standings with the sound of `goal` that are worth going on from, and whether all ways were looked at.

        Parameters
        ----------
        sources : mapping of Standing to cost
        cue : Cue
        goal : Position
            Where the cue would have the board.
        window : Window
        """
        return _CueSearch(self, sources, cue, goal, window).run()


class GestureTimes:
    """Times between the gestures of a board, by number; that after the last stands for nothing done yet."""

    def __init__(self, gestures: list[Gesture], pace: Pace | None) -> None:
        self.limited = pace is not None
        self.between_ns = [[pace.between_ns(a, b) if pace else 0 for b in gestures] for a in gestures]
        self.between_ns.append([0] * len(gestures))
        self._lag_ns = [
            [max((x - y for x, y in zip(a, b, strict=True)), default=0) for b in self.between_ns]
            for a in self.between_ns
        ]

    def no_later(self, acts_ns: int, last: int, other_ns: int, other: int) -> bool:
        """Whether after the first no next gesture acts later than after the other; both timed, or neither."""
        if _UNTIMED in (acts_ns, other_ns):
            return acts_ns == other_ns
        return acts_ns + self._lag_ns[last][other] <= other_ns


class _Landing(NamedTuple):
    """A way that has come to the sound that the cue asks for, by number, and what is done last and when it acts."""

    cost: int
    way: int
    position: Position
    last: int
    acted_ns: int


class _CueSearch:
    """The ways to one cue."""

    def __init__(
        self, board: PressSearch, sources: Mapping[Standing, int], cue: Cue, goal: Position, window: Window
    ) -> None:
        self._graph, self._times, self._most = board.graph, board.times, board.most_positions
        self._cue, self._goal, self._window = cue, goal, window
        gestures = self._graph.gestures
        self._asked = asked_gesture(cue)
        self._own = gestures.index(self._asked) if self._asked is not None and cue.by_foot else None
        self._costs = [(ONE if g.kind == "press" else ONE + HELD) + window.haste for g in gestures]
        self._origins = list(sources)
        self._heard_before = self._origins[0].position.heard
        untimed = window.since_ns is None or not self._times.limited
        self._queue = []
        for k, (source, cost) in enumerate(sources.items()):
            acts_ns = _UNTIMED if untimed else source.acted_ns
            last = len(gestures) if source.last is None else gestures.index(source.last)
            self._queue.append(_Way(cost, acts_ns, self._graph.number(source.position), last, -1 - k))
        heapq.heapify(self._queue)
        self._queued: dict[tuple[int, int, bool], tuple[int, int]] = {}
        self._ways: list[_Way] = []
        self._landings: list[_Landing] = []
        self._after: dict[int, Position] = {}
        self._onward: dict[int, list[tuple[Step, int]]] = {}

    def run(self) -> tuple[dict[Standing, Arrival], bool]:
        """All standings worth going on from, and whether all ways were looked at."""
        kept: dict[int, list[_Way]] = {}
        while self._queue:
            way = heapq.heappop(self._queue)
            if way.here not in kept:
                if len(kept) == self._most:
                    return self._arrivals(), False
                kept[way.here] = []
            number = len(self._ways)
            self._ways.append(way)
            self._land(way, number)
            if any(self._times.no_later(k.acts_ns, k.last, way.acts_ns, way.last) for k in kept[way.here]):
                continue
            kept[way.here].append(way)
            for step, cost in self._steps_from(way.here):
                self._push(self._prolonged(way, number, step.gesture, step.target, cost))
        return self._arrivals(), True

    def _push(self, way: _Way) -> None:
        """Queue a way, unless one with the same end was queued that is as good."""
        end = (way.here, way.last if self._times.limited else 0, way.acts_ns == _UNTIMED)
        cost, acts_ns = self._queued.get(end, (way.cost + 1, way.acts_ns))
        if way.cost < cost or way.acts_ns < acts_ns:
            self._queued[end] = way.cost, way.acts_ns
            heapq.heappush(self._queue, way)

    def _steps_from(self, here: int) -> list[tuple[Step, int]]:
        """The gestures at a position that may help, and what each costs there: for a later cue only silent ones."""
        if here not in self._onward:
            positions = self._graph.positions
            changed = AFTER if positions[here].heard != self._heard_before else 0
            for_later = self._asked is None and (not self._cue.by_foot or positions[here].sound == self._goal.sound)
            self._onward[here] = []
            for step in [] if for_later and changed else self._graph.steps(here):
                if self._graph.may_help(step, self._goal) and not (for_later and step.audible):
                    at_once = self._asked is None and positions[step.target].sound == self._goal.sound
                    early = EARLY if step.audible and not at_once else 0
                    self._onward[here].append((step, self._costs[step.gesture] + changed + early))
        return self._onward[here]

    def _prolonged(self, way: _Way, number: int, gesture: int, target: int, cost: int) -> _Way:
        """A way with one more gesture, which acts as soon as the foot can do it, and not before the cue before."""
        cost += way.cost
        if way.acts_ns == _UNTIMED or self._window.since_ns is None:
            return _Way(cost, _UNTIMED, target, gesture, number)
        acts_ns = max(way.acts_ns + self._times.between_ns[way.last][gesture], self._window.since_ns)
        if acts_ns > self._window.until_ns + TOLERANCE_NS:
            return _Way(cost + self._window.late, _UNTIMED, target, gesture, number)
        return _Way(cost, acts_ns, target, gesture, number)

    def _land(self, way: _Way, number: int) -> None:
        """Note a way if it has the sound that is asked for once the cue has come."""
        after = self._landed(way.here)
        if after.sound != self._goal.sound:
            return
        cost, last, acted_ns = way.cost, way.last, self._window.until_ns
        if self._own is not None:
            cost, last = self._prolonged(way, number, self._own, way.here, self._costs[self._own]).cost, self._own
        elif way.parent < 0:
            acted_ns = self._origins[-1 - way.parent].acted_ns
        elif self._is_silent(number) and (self._window.since_ns is None or way.acts_ns != _UNTIMED):
            acted_ns = NEVER_NS if self._window.since_ns is None else way.acts_ns
        self._landings.append(_Landing(cost, number, after, last, acted_ns))

    def _landed(self, here: int) -> Position:
        """Where the board stands once the cue has come."""
        if here not in self._after:
            after, board = self._graph.positions[here], self._graph.board
            if self._asked is not None:
                after = do_gesture(board, after, self._asked)
            elif not self._cue.by_foot:
                after = board.apply(after, self._cue)
            self._after[here] = self._graph.forget(after)
        return self._after[here]

    def _is_silent(self, number: int) -> bool:
        """Whether nothing is heard of a way, so that it need not end on the cue."""
        while number >= 0:
            if self._graph.positions[self._ways[number].here].heard != self._heard_before:
                return False
            number = self._ways[number].parent
        return True

    def _arrivals(self) -> dict[Standing, Arrival]:
        """Of the landings those that no other is at least as good as, at every later cue."""
        found: dict[Standing, Arrival] = {}
        kept: dict[Position, list[_Landing]] = {}
        for landing in sorted(self._landings, key=lambda a: a.cost):
            others = kept.setdefault(landing.position, [])
            if any(self._times.no_later(k.acted_ns, k.last, landing.acted_ns, landing.last) for k in others):
                continue
            others.append(landing)
            origin, gestures = self._traced_back(landing)
            found[self._standing(landing)] = Arrival(landing.cost, origin, gestures)
        return found

    def _standing(self, landing: _Landing) -> Standing:
        if not self._times.limited or landing.last == len(self._graph.gestures):
            return Standing(landing.position)
        return Standing(landing.position, self._graph.gestures[landing.last], landing.acted_ns)

    def _traced_back(self, landing: _Landing) -> tuple[Standing, tuple[Gesture, ...]]:
        """Where a way began, and its gestures."""
        gestures = [] if self._own is None else [self._own]
        number = landing.way
        while self._ways[number].parent >= 0:
            gestures.append(self._ways[number].last)
            number = self._ways[number].parent
        origin = self._origins[-1 - self._ways[number].parent]
        return origin, tuple(self._graph.gestures[g] for g in reversed(gestures))
