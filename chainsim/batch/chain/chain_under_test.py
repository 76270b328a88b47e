"""A chain that test signals are sent through, one after the other, each as if it were the first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from chainsim.blocks.noise_gate import NoiseGate
from chainsim.graph.build import Graph
from chainsim.graph.engine import CHUNK, Engine
from chainsim.graph.nodes import Node, in_order
from chainsim.graph.rendering import array_reader, build_graph
from chainsim.sketch.model import Sketch
from chainsim.units import Array, Audio


class ChainUnderTest:
    """One state of a sketch as a graph, for mono signals.

    Attributes
    ----------
    graph : Graph
    latency : int
        Samples by the longest way, rounded up.
    tail_s : float
        As the graph reports it.
    """

    def __init__(self, sketch: Sketch, sample_rate_hz: float) -> None:
        self.graph = build_graph(sketch, sample_rate_hz)
        self.latency = math.ceil(self.graph.latency[1])
        self.tail_s = self.graph.tail_s

    @property
    def follows_pitch(self) -> bool:
        """Whether a block in it listens to the pitch of what is played."""
        return self.graph.follows_pitch

    @property
    def gates(self) -> tuple[str, ...]:
        """Names of the noise gates that are heard, in the order in which they run."""
        return tuple(node.name for node in self._gate_nodes())

    def _gate_nodes(self) -> list[Node]:
        return [node for node in self.graph.nodes if node.block_class is NoiseGate]

    def send(self, x: Array, frames: int) -> Audio:
        """Send x (frames,) and then silence; returns the first `frames` frames of what comes out."""
        y = np.zeros((self.graph.outputs["out"].channels, frames))
        for n0, outputs in _streamed(self.graph, x, frames):
            y[:, n0 : n0 + outputs["out"].shape[1]] = outputs["out"]
        return y

    def gate_gains(self, x: Array) -> dict[str, Array]:
        """Send x (frames,) and read the gain (frames,) of every gate; what stands behind the gates does not run."""
        row = NoiseGate.readings.index("gain")
        readings = {node.name: (node, row) for node in self._gate_nodes()}
        only = replace(
            self.graph, nodes=in_order([node for node, _ in readings.values()]), outputs={}, readings=readings
        )
        gains = {name: np.zeros(x.size) for name in readings}
        for n0, told in _streamed(only, x, x.size):
            for name, gain in gains.items():
                gain[n0 : n0 + told[name].shape[1]] = told[name][0]
        return gains


def _streamed(graph: Graph, x: Array, frames: int) -> Iterator[tuple[int, dict[str, Audio]]]:
    """Whatever a graph as new tells of x (frames,) and then silence, span by span, for `frames` frames."""
    for node in graph.nodes:
        if node.block is not None:
            node.block.reset()
    chunk = math.ceil(frames / math.ceil(frames / CHUNK))
    for n0, outputs in Engine(graph, array_reader(x[np.newaxis]), frames, chunk=chunk).stream():
        if n0 >= frames:
            return
        yield n0, {name: y[:, : frames - n0] for name, y in outputs.items()}


def pinned(sketch: Sketch, position: int) -> Sketch:
    """The sketch with all that its controllers drive at one end: position 0 or 1."""
    state, blocks = sketch.base, dict(sketch.base.blocks)
    for (name, setting), (_, drive) in state.drives.items():
        value = drive.high if position == 1 else drive.low
        entry = blocks[name]
        blocks[name] = replace(entry, settings=entry.settings.model_copy(update={setting: value}))
    return replace(sketch, base=replace(state, blocks=blocks, drives={}))


def is_driven(sketch: Sketch) -> bool:
    """Whether a controller moves a block that is engaged."""
    return any(name in sketch.base.engaged for name, _ in sketch.base.drives)
