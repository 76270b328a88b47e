"""Many sketches in one graph, so that what their chains have in common is computed once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from chainsim.errors import GraphError, SketchError
from chainsim.graph.build import Graph, GraphBuilder
from chainsim.graph.nodes import Node, in_order
from chainsim.graph.rendering import build_graph
from chainsim.sketch.model import Sketch


class Union:
    """Sketches in one graph, by label; those that cannot be built are left out, each with the reason.

    Attributes
    ----------
    graph : Graph or None
        None if nothing is left.
    refused : dict of str
    gates : dict of list of str
        Names of the readings that tell the gains of each sketch's gates.
    """

    def __init__(self, sample_rate_hz: float, channels: int, sketches: Mapping[str, Sketch]) -> None:
        self.refused: dict[str, str] = {}
        self.gates: dict[str, list[str]] = {}
        try:
            self.graph = self._build(sample_rate_hz, channels, sketches)
        except SketchError:  # one of them cannot be prepared for such takes: find out which
            for label, sketch in sketches.items():
                try:
                    build_graph(sketch, sample_rate_hz, channels)
                except (GraphError, SketchError) as error:
                    self.refused[label] = str(error)
            left = {label: sketch for label, sketch in sketches.items() if label not in self.refused}
            self.graph = self._build(sample_rate_hz, channels, left)

    def __contains__(self, label: str) -> bool:
        return label not in self.refused

    @property
    def block_runs(self) -> int:
        """How many declared blocks run."""
        return 0 if self.graph is None else _declared(self.graph.nodes)

    @property
    def single_block_runs(self) -> int:
        """How many would run if each sketch had a graph of its own."""
        if self.graph is None:
            return 0
        outputs = [node for name, node in self.graph.outputs.items() if name.endswith(":out")]
        return sum(_declared(in_order([output])) for output in outputs)

    def _build(self, sample_rate_hz: float, channels: int, sketches: Mapping[str, Sketch]) -> Graph | None:
        builder = GraphBuilder(sample_rate_hz, channels)
        added = False
        for label, sketch in sketches.items():
            try:
                builder.add(sketch, label=label)
            except GraphError as error:
                self.refused[label] = str(error)
                continue
            self.gates[label] = builder.watch(label, "noise_gate", "gain")
            added = True
        return builder.build() if added else None


def _declared(nodes: Iterable[Node]) -> int:
    """Blocks that a sketch declares; what the graph puts in itself has no name of its own for seeds."""
    return sum(1 for node in nodes if node.kind == "block" and node.seed_name)
