"""The nearest way out under the foot: from where it has gone silent to a sound that lives on."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from chainsim.sketch.course import Moment
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.timeline import state_at
from chainsim.stage.board import Position, Sound
from chainsim.stage.board_graph import BoardGraph

MOST_POSITIONS = 1_000
"""Looked at from one patch; what is further away helps nobody on stage."""


@dataclass(frozen=True)
class WayOut:
    """Presses and holds, in order, and what is heard after them.

    Attributes
    ----------
    gestures : tuple of str
    to : str
        "echo off, all else stays", or patch and switched blocks, or "the plain horn".
    with_the_horn : bool
        Whether the horn itself is heard there, and not only what follows it.
    """

    gestures: tuple[str, ...]
    to: str
    with_the_horn: bool = True


class WaysOut:
    """Finds ways on the board of a sketch."""

    def __init__(self, sketch: Sketch) -> None:
        self._sketch = sketch
        self._graph = BoardGraph(sketch.board)
        self._states: dict[Sound, State] = {}

    def state(self, position: Position) -> State:
        """What is heard where the board stands; the tempo makes no difference here."""
        if position.sound not in self._states:
            self._states[position.sound] = state_at(self._sketch, Moment(0.0, position, self._sketch.base.tempo_bpm))
        return self._states[position.sound]

    def nearest(self, start: Position, helps: Callable[[State], bool], known: dict[Sound, bool]) -> WayOut | None:
        """The fewest gestures from a position to one that helps; None where no switch leads to any.

        Of as few, one that keeps the patch comes first; then one to the plain horn, as it is the same from everywhere;
        then presses before holds.

        Parameters
        ----------
        start : Position
        helps : callable
            Whether a state helps.
        known : dict
            What it said before, to be filled.
        """
        graph = self._graph
        first = graph.number(graph.forget(start))
        ways: dict[int, tuple[int, ...]] = {first: ()}
        queue = deque([first])
        found: list[tuple[int, int, int]] = []
        while queue and not found and len(ways) < MOST_POSITIONS:
            # All that are equally far away.
            for _ in range(len(queue)):
                here = queue.popleft()
                for step in graph.steps(here):
                    if step.target in ways:
                        continue
                    ways[step.target] = (*ways[here], step.gesture)
                    queue.append(step.target)
                    position = graph.positions[step.target]
                    if self._helps(position, helps, known):
                        rank = 1 if position.dry else 0 if position.patch == start.patch else 2
                        found.append((rank, step.gesture, step.target))
        if not found:
            return None
        target = min(found)[2]
        return WayOut(tuple(graph.gestures[g].text for g in ways[target]), self._to(start, graph.positions[target]))

    def _to(self, start: Position, position: Position) -> str:
        if position.dry:
            return "the plain horn"
        names = sorted({name for name, _ in start.switched ^ position.switched})
        if position.patch != start.patch or not names:
            return position.text
        board = self._sketch.board
        changes = (f"{name} {'on' if board.is_on(position, name) else 'off'}" for name in names)
        return f"{' and '.join(changes)}, all else stays"

    def _helps(self, position: Position, helps: Callable[[State], bool], known: dict[Sound, bool]) -> bool:
        if position.sound not in known:
            known[position.sound] = not position.muted and helps(self.state(position))
        return known[position.sound]
