"""What a foot can make sound: the states that presses and holds of a board's switches lead to."""

from __future__ import annotations

from collections import deque
from dataclasses import replace

from chainsim.sketch.course import Moment
from chainsim.sketch.model import Sketch
from chainsim.sketch.timeline import state_at
from chainsim.stage.board import Board, Position
from chainsim.stage.board_graph import BoardGraph

MOST_POSITIONS = 20_000
"""Of a search: some seconds."""


def reached(board: Board, most: int, start: Position | None = None) -> tuple[list[Position], bool]:
    """Positions that sound different, those that take the fewest presses and holds first; silence is none of them.

    Breadth first, over positions that differ in anything a later press depends on.

    Parameters
    ----------
    board : Board
    most : int
        So many at most.
    start : Position, optional
        From where; default, the start of the board.

    Returns
    -------
    positions : list of Position
        One for each that `Position.heard` tells apart.
    all_found : bool
        Whether there are no others.
    """
    graph = BoardGraph(board)
    first = graph.forget(board.start() if start is None else start)
    waiting, met = deque([graph.number(first)]), {graph.number(first)}
    found = {} if first.muted else {first.heard: first}
    while waiting:
        for step in graph.steps(waiting.popleft()):
            if step.target in met:
                continue
            position = graph.positions[step.target]
            if not position.muted and position.heard not in found:
                if len(found) == most:
                    return list(found.values()), False
                found[position.heard] = position
            if len(met) == MOST_POSITIONS:
                return list(found.values()), False
            met.add(step.target)
            waiting.append(step.target)
    return list(found.values()), True


def alone_at(sketch: Sketch, position: Position) -> Sketch:
    """The sketch as it stands at a position of its board from beginning to end: no cues, no taps."""
    patch = sketch.base if position.patch is None else sketch.patches[position.patch].state
    state = state_at(sketch, Moment(0.0, position, patch.tempo_bpm))
    return replace(sketch.alone(), base=state)
