"""From equations to nodes: a sketch's states placed into a graph, sharing what is equal.

Outside patches, equal nodes are one node, whatever sketch they come from. A sketch with several states has one
instance of each block, and a second one only where a fixed setting differs or the wires would close a loop.
"""

from __future__ import annotations

from collections.abc import Iterable

from chainsim.errors import GraphError
from chainsim.graph.hearing import listen_on, shared_ears
from chainsim.graph.nodes import Edge, Node
from chainsim.graph.shelf import PlacedState, Scope, Shelf
from chainsim.graph.state_placing import StatePlacing
from chainsim.graph.wiring import wire
from chainsim.sketch.chain import INPUT
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.timeline import timeline
from chainsim.stage.pitch_track import PitchTrack, PitchTrackSettings

TUNER = "tuner"


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
        states = {round(at_s * sample_rate_hz): state for at_s, state in timeline(sketch)}
        own_shelf = Shelf() if len(states) > 1 else shelf
        _check_probes(probes, states.values())
        self._scope = Scope(sketch, take, own_shelf, sample_rate_hz, list(states.items()))
        if self._scope.has_patches:
            self._scope.ears = shared_ears(states.values())
        self.sketch = sketch
        self.tempo_bpm = (min(s.tempo_bpm for s in states.values()), max(s.tempo_bpm for s in states.values()))
        self.placed: list[PlacedState] = [
            StatePlacing(self._scope, start, state).place(probes) for start, state in self._scope.timeline
        ]
        if self._scope.has_patches:
            listen_on(self._scope.trackers, self.placed)
        self.outputs = self._scope.outputs
        self._tuner_node: Node | None = None

    def reading(self, block: str, reading: str) -> tuple[Node, int]:
        """The node and the row of what a block tells of itself, or the tuner of the pitch that is played.

        Raises
        ------
        GraphError
            If the block is engaged and heard in no state, or has no such reading.
        """
        if block == TUNER and reading in PitchTrack.rows:
            return self._tuner(), PitchTrack.rows.index(reading)
        node = self._scope.named.get(block)
        if node is None or node.block_class is None or reading not in node.block_class.readings:
            raise GraphError(f'no reading "{reading}" of a block "{block}" that is engaged and heard')
        return node, node.block_class.readings.index(reading)

    def readings(self, type_name: str, reading: str) -> dict[str, tuple[Node, int]]:
        """That reading of every block of a type that is engaged and heard, by "BLOCK:READING"."""
        blocks = {name for name, node in self._scope.named.items() if _is_of(node, type_name)}
        return {f"{block}:{reading}": self.reading(block, reading) for block in sorted(blocks)}

    def _tuner(self) -> Node:
        """What follows the take's pitch from beginning to end, whatever is muted meanwhile."""
        if self._tuner_node is None:
            low_hz, high_hz = self.sketch.header.pitch_range_hz
            settings = PitchTrackSettings(low_hz=low_hz, high_hz=high_hz)
            ear = Edge(self._scope.take)
            self._tuner_node = Node("control", TUNER, settings, PitchTrack, ports={"in": [ear]})
            for state in self.placed:
                state.nodes.add(self._tuner_node)
                state.edges.append(ear)
        return self._tuner_node


def _check_probes(probes: tuple[str, ...], states: Iterable[State]) -> None:
    """GraphError unless each probe is "input", or a block or a wire of some state; in others it is silent."""
    if not probes:
        return
    known = dict.fromkeys([INPUT, *(name for state in states for name in (*state.blocks, *wire(state).points))])
    for probe in probes:
        if probe not in known:
            raise GraphError(f'probe "{probe}": no such block or wire; there are {", ".join(known)}')


def _is_of(node: Node, type_name: str) -> bool:
    return node.block_class is not None and node.block_class.type_name == type_name
