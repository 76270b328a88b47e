"""The fewest presses for a cue list, found exactly.

A cue asks for a sound. What is silent besides (which bank is open, which patch was before) is free, and decides what
later cues cost. So every position that has the sound is kept, cue by cue, with the least cost at which it is reached:
dynamic programming over the silent part. Between two cues Dijkstra's algorithm finds these positions
(`chainsim.stage.press_search`).

Source: R. Bellman, Dynamic Programming (1957).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from chainsim.stage.board import Board, Position
from chainsim.stage.cues import Cue
from chainsim.stage.press_search import Arrival, Gesture, PressSearch, do_gesture, haste

MOST_POSITIONS = 10_000
"""Positions looked at for one cue: 32 patches in eight banks with a switch that goes back have about as many."""


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
    passes: tuple[str, ...]
    position: Position
    with_next: bool = False
    searched_all: bool = True

    @property
    def ahead(self) -> int:
        """How many of the gestures may be done at leisure, before the cue: the silent ones at the beginning."""
        return sum(1 for _ in itertools.takewhile(bool, self.silent[:-1]))


def fewest_presses(board: Board, cues: Sequence[Cue], most_positions: int = MOST_POSITIONS) -> tuple[Reach, ...]:
    """Find for each cue the gestures that lead there, so that their number over the whole list is least.

    Of equal numbers that with the fewest sounds on the way, then with the fewest holds, then that which presses
    where there is time: a bank is opened earlier, and no earlier than need be, where a cue leaves no time for it.

    What a cue asks for is what `Board.apply` makes of it, one cue after the other. A cue that is a press or a hold
    ends in that gesture; a bank may have to be opened before it. Cues at one instant are one aim, up to one that is a
    gesture or not by foot. Where no way leads to a cue, the list goes on from where the cue would have the board.

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
    search = PressSearch(board, most_positions)
    sources: dict[Position, int] = {search.forget(wanted[0]): 0}
    layers: list[dict[Position, Arrival]] = []
    whole: list[bool] = []
    since_s: float | None = None
    joined = [*itertools.starmap(_joins, itertools.pairwise(cues)), False][: len(cues)]
    for k, (cue, goal) in enumerate(zip(cues, wanted[1:], strict=True)):
        if joined[k]:
            found, searched_all = {p: Arrival(cost, p, ()) for p, cost in sources.items()}, True
        else:
            hurry = haste(since_s, cue.at_s, len(cues) - 1 - k)
            found, searched_all = search.arrivals(sources, cue, goal, hurry)
            since_s = cue.at_s
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


def _joins(cue: Cue, after: Cue) -> bool:
    """Whether a cue and the next are one aim."""
    return cue.at_s == after.at_s and all(c.by_foot and not c.is_gesture for c in (cue, after))


def _traced_back(layers: Sequence[Mapping[Position, Arrival]]) -> list[tuple[Gesture, ...] | None]:
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
        if not silent[-1]:
            passes.append(after.text + (" too early" if after.heard == wanted.heard else ""))
        position = after
    if gestures and not silent[-1] and cue.by_foot:
        passes.pop()
    if not cue.by_foot:
        position = board.apply(position, cue)
    return Reach(cue, gestures, tuple(silent), tuple(passes), position)
