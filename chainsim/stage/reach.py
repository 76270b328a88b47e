"""As few cues that come out too fast as can be, then the fewest presses for a cue list: found exactly.

A cue asks for a sound. What is silent besides (which bank is open, which patch was before) is free, and decides what
later cues cost; so does the switch that the foot is on. So every standing that has the sound is kept, cue by cue, with
the least cost at which it is reached: dynamic programming over what is silent. Between two cues a shortest-path search
finds these standings (`chainsim.stage.press_search`).

Source: R. Bellman, Dynamic Programming (1957).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue
from chainsim.stage.foot import Foot
from chainsim.stage.gesture import Gesture, Pace, do_gesture, to_ns
from chainsim.stage.press_search import Arrival, PressSearch, Standing, Window

MOST_POSITIONS = 10_000
"""Positions looked at for one cue: 32 patches in eight banks with a switch that goes back have about as many."""


@dataclass(frozen=True)
class Reach:
    """How a foot comes to what one cue asks for.

    Attributes
    ----------
    cue : Cue
    gestures : tuple of Gesture, or None
        In order, the last at the cue's time if any is heard; empty where there is nothing to do; None where no way was
        found.
    silent : tuple of bool
        Of each gesture, whether nothing is heard of it.
    serves : tuple of (Cue or None)
        Of each gesture, the later cue that would go wrong without it; None for those that this cue needs.
    passes : tuple of str
        Sounds that are heard on the way, before the last gesture: wrong ones, or the right one too early.
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
    serves: tuple[Cue | None, ...]
    passes: tuple[str, ...]
    position: Position
    with_next: bool = False
    searched_all: bool = True

    @property
    def ahead(self) -> int:
        """How many of the gestures may be done at leisure, before the cue: the silent ones at the beginning.

        The last is the cue's own, however silent, unless it serves a later cue.
        """
        may_be = self.silent if self.serves and self.serves[-1] is not None else self.silent[:-1]
        return sum(1 for _ in itertools.takewhile(bool, may_be))

    @property
    def lands(self) -> bool:
        """Whether its last gesture is made at the cue's time, and not at leisure before."""
        return not all(self.silent) or (self.cue.is_gesture and self.cue.by_foot)


def fewest_presses(
    board: Board, cues: Sequence[Cue], foot: Foot | None = None, most_positions: int = MOST_POSITIONS
) -> tuple[Reach, ...]:
    """Find for each cue the gestures that lead there, so that their number over the whole list is least.

    With a foot, those ways come first on which it comes too late to the fewest cues. Of equal numbers that is taken
    which is late at the later cue, so that a cue is not blamed for a bank that a later one needs; then that with the
    fewest sounds on the way, then with the fewest holds, then that which presses where there is time: a bank is opened
    earlier, and no earlier than need be, where a cue leaves no time for it.

    What a cue asks for is what `Board.apply` makes of it, one cue after the other. A cue that is a press or a hold
    ends in that gesture; a bank may have to be opened before it. Cues at one instant are one aim, up to one that is a
    gesture or not by foot. Where no way leads to a cue, the list goes on from where the cue would have the board.

    This is exact for a foot that is no slower on one switch than from one to another, with these rules: gestures for a
    cue begin no earlier than the cue before, and if any of them is heard the last ends on the cue; where none is, and
    at a cue that needs none, silent ones may follow for a later cue. Mute, dry sound and blocks are not switched away
    from where a cue has them only to have the foot near.

    Parameters
    ----------
    board : Board
    cues : sequence of Cue, in the order in which they act
    foot : Foot, optional
        Without it nothing is too fast, and every gesture acts as the foot comes down.
    most_positions : int > 0
        Positions that may be looked at for one cue.

    Raises
    ------
    SettingError
        If a cue or a switch names a patch, bank or switch that there is not.
    """
    wanted = list(itertools.accumulate(cues, board.apply, initial=board.start()))
    pace = None if foot is None else Pace(board, foot)
    search = PressSearch(board, most_positions, pace)
    forget = search.graph.forget
    sources: dict[Standing, int] = {Standing(forget(wanted[0])): 0}
    layers: list[dict[Standing, Arrival]] = []
    whole: list[bool] = []
    since_ns: int | None = None
    joined = [*itertools.starmap(_joins, itertools.pairwise(cues)), False][: len(cues)]
    for k, (cue, goal) in enumerate(zip(cues, wanted[1:], strict=True)):
        if joined[k]:
            found, searched_all = {s: Arrival(cost, s, ()) for s, cost in sources.items()}, True
        else:
            until_ns = to_ns(cue.at_s if pace is None else pace.acts_at_s(cue))
            window = Window(since_ns, until_ns, len(cues) - 1 - k)
            found, searched_all = search.arrivals(sources, cue, goal, window)
            since_ns = window.until_ns
        layers.append(found or _put(sources, forget(goal)))
        whole.append(searched_all)
        sources = {s: a.cost for s, a in layers[-1].items()}
    ways = _traced_back(layers)
    reaches, position = [], board.start()
    for k, (cue, way) in enumerate(zip(cues, ways, strict=True)):
        reach = _told(board, position, cue, way, wanted[k + 1])
        reaches.append(replace(reach, with_next=joined[k], searched_all=whole[k]))
        position = reach.position
    return tuple(replace(r, serves=_served(board, reaches, k)) for k, r in enumerate(reaches))


def _joins(cue: Cue, after: Cue) -> bool:
    """Whether a cue and the next are one aim."""
    return cue.at_s == after.at_s and all(c.by_foot and not c.is_gesture for c in (cue, after))


def _put(sources: Mapping[Standing, int], goal: Position) -> dict[Standing, Arrival]:
    """Where no way leads to a cue, the board as the cue would have it, and the foot as it is."""
    found: dict[Standing, Arrival] = {}
    for source, cost in sorted(sources.items(), key=lambda item: item[1]):
        found.setdefault(source._replace(position=goal), Arrival(cost, source, None))
    return found


def _traced_back(layers: Sequence[Mapping[Standing, Arrival]]) -> list[tuple[Gesture, ...] | None]:
    """The gestures of each cue on the cheapest way through all of them; None where there is none."""
    ways: list[tuple[Gesture, ...] | None] = []
    if not layers:
        return ways
    end = min(layers[-1], key=lambda s: layers[-1][s].cost)
    for layer in reversed(layers):
        arrival = layer[end]
        ways.append(arrival.gestures)
        end = arrival.origin
    return ways[::-1]


def _told(board: Board, position: Position, cue: Cue, gestures: tuple[Gesture, ...] | None, wanted: Position) -> Reach:
    """What is heard of the gestures."""
    if gestures is None:
        return Reach(cue, None, (), (), (), wanted)
    silent, passes = [], []
    for gesture in gestures:
        after = do_gesture(board, position, gesture)
        silent.append(after.heard == position.heard)
        if not silent[-1]:
            passes.append(after.text + (" too early" if after.heard == wanted.heard else ""))
        position = after
    if gestures and not silent[-1] and cue.by_foot:
        passes.pop()
    if not cue.by_foot:
        position = board.apply(position, cue)
    return Reach(cue, gestures, tuple(silent), (None,) * len(silent), tuple(passes), position)


def _served(board: Board, reaches: Sequence[Reach], k: int) -> tuple[Cue | None, ...]:
    """Of each gesture of one cue, the later cue that it serves."""
    start = reaches[k - 1].position if k else board.start()
    gestures = reaches[k].gestures or ()
    return tuple(
        _first_wrong(board, start, gestures[:i] + gestures[i + 1 :], reaches[k:]) if silent else None
        for i, silent in enumerate(reaches[k].silent)
    )


def _first_wrong(board: Board, position: Position, gestures: Sequence[Gesture], reaches: Sequence[Reach]) -> Cue | None:
    """The first cue but that of `reaches[0]` whose sound is another, if these are the gestures for that one."""
    for reach in reaches:
        if reach.gestures is None:
            return None
        for gesture in gestures if reach is reaches[0] else reach.gestures:
            position = do_gesture(board, position, gesture)
        if not reach.cue.by_foot:
            position = board.apply(position, reach.cue)
        if position.sound != reach.position.sound:
            return None if reach is reaches[0] else reach.cue
    return None
