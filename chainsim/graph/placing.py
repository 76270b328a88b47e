"""From equations to nodes: a sketch's states placed into a graph, sharing what is equal.

Outside patches, equal nodes are one node, whatever sketch they come from. A sketch with several states has one
instance of each block, and a second one only where a fixed setting differs or the wires would close a loop.
"""

from __future__ import annotations

from chainsim.errors import GraphError
from chainsim.graph.nodes import Node
from chainsim.graph.shelf import PlacedState, Scope, Shelf
from chainsim.graph.state_placing import StatePlacing
from chainsim.sketch.model import Sketch


class Placing:
    """One sketch in a graph.

    Attributes
    ----------
    placed : list of PlacedState
        In order of time.
    outputs : dict of Node
        "out" and one for each probe.
    tempo_bpm : (slowest, fastest)
    """

    def __init__(
        self, sketch: Sketch, take: Node, shelf: Shelf, sample_rate_hz: float, probes: tuple[str, ...] = ()
    ) -> None:
        states = {round(at_s * sample_rate_hz): state for at_s, state in sketch.timeline()}
        own_shelf = Shelf() if len(states) > 1 else shelf
        self._scope = Scope(sketch, take, own_shelf, sample_rate_hz, list(states.items()))
        self.sketch = sketch
        self.tempo_bpm = (min(s.tempo_bpm for s in states.values()), max(s.tempo_bpm for s in states.values()))
        self.placed: list[PlacedState] = [
            StatePlacing(self._scope, start, state).place(probes) for start, state in self._scope.timeline
        ]
        self.outputs = self._scope.outputs

    def reading(self, block: str, reading: str) -> tuple[Node, int]:
        """The node and the row of what a block tells of itself.

        Raises
        ------
        GraphError
            If the block is engaged and heard in no state, or has no such reading.
        """
        node = self._scope.named.get(block)
        if node is None or node.block_class is None or reading not in node.block_class.readings:
            raise GraphError(f'no reading "{reading}" of a block "{block}" that is engaged and heard')
        return node, node.block_class.readings.index(reading)
