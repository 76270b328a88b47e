"""A chain that test signals are sent through, one after the other, each as if it were the first."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from chainsim.batch.playing import GATE
from chainsim.graph.engine import CHUNK, Engine
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
        return any("pitch" in node.controls for node in self.graph.nodes)

    @property
    def has_gate(self) -> bool:
        """Whether a noise gate is in it."""
        return any(node.block_class is not None and node.block_class.type_name == GATE for node in self.graph.nodes)

    def send(self, x: Array, frames: int) -> Audio:
        """Send x (frames,) and then silence; returns the first `frames` frames of what comes out."""
        for node in self.graph.nodes:
            if node.block is not None:
                node.block.reset()
        chunk = math.ceil(frames / math.ceil(frames / CHUNK))
        y = np.zeros((self.graph.outputs["out"].channels, frames))
        engine = Engine(self.graph, array_reader(x[np.newaxis]), frames, chunk=chunk)
        for n0, outputs in engine.stream():
            part = outputs["out"][:, : frames - n0]
            y[:, n0 : n0 + part.shape[1]] = part
            if n0 + part.shape[1] >= frames:
                break
        return y


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
