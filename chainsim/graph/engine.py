"""The streaming engine: sends a take through a graph, span by span.

A span ends at the latest after CHUNK frames, and wherever the schedule says that something changes; so inside a span
every node either runs or sleeps and every edge is at rest or on one straight ramp. Since every block gives the same
bits for any cutting, where spans end is never heard.
"""

from __future__ import annotations

import itertools
import math
import threading
from collections.abc import Callable, Collection, Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from chainsim.block import Io, Moving
from chainsim.graph.buffers import Held, Pool
from chainsim.graph.build import Graph
from chainsim.graph.mixing import add_ramped, add_scaled, set_scaled
from chainsim.graph.moving import MovingRow, follow, go_straight
from chainsim.graph.nodes import Driven, Edge, Node
from chainsim.graph.schedule import FADE_OUT_S, LONGEST_TAIL_S
from chainsim.graph.side_by_side import SideBySide
from chainsim.units import Array, Audio

CHUNK = 16_384
Reader = Callable[[int, int], Audio]
"""Gives the take: (first frame, frames) -> (channels, frames), zeros outside it."""


class Engine:
    """Runs one graph over one take.

    Parameters
    ----------
    graph : Graph
    read : callable
        Gives the take.
    take_frames : int
    chunk : int
        Largest span; any value gives the same bits.
    threads : int
        Nodes that do not wait for each other run side by side on so many threads.
    """

    def __init__(self, graph: Graph, read: Reader, take_frames: int, *, chunk: int = CHUNK, threads: int = 1) -> None:
        self._graph = graph
        self._read = read
        self._chunk = chunk
        self.threads = threads
        self.frames = graph.frames(take_frames)
        self._fades = _fades(graph, take_frames)
        self._pool = Pool(chunk)
        self._silence: dict[int, Audio] = {}
        self._sources = {n: tuple(n.sources()) for n in graph.nodes}
        self._awake: list[Node] = []
        self._reader_counts: dict[Node, int] = {}
        self.waits_for: dict[Node, int] = {}
        self.readers: dict[Node, list[Node]] = {}
        self._rows = {
            n: {name: MovingRow(m, graph.sample_rate_hz, chunk) for name, m in n.motions.items()} for n in graph.nodes
        }
        self.warnings = self._limited(self._rows)
        self.running: dict[Node, bool] = {}
        self.costs: dict[Node, float] = {}

    def own_warnings(self, label: str) -> list[str]:
        """Those of `warnings` that are about one sketch."""
        return self._limited(self._graph.nodes_of(label))

    def _limited(self, nodes: Collection[Node]) -> list[str]:
        return [
            f"{n.name}.{name}: limited to 0.45 of the sample rate"
            for n, rows in self._rows.items()
            for name, row in rows.items()
            if row.limited and n in nodes
        ]

    def warm_up(self) -> None:
        """Compile or load the kernels of the graph and of every block, with spans of no frames."""
        sound, row = np.zeros((1, 0)), np.zeros(0)
        set_scaled(sound, 1.0, sound)
        add_scaled(sound, 1.0, sound)
        add_ramped(sound, 1.0, 0, 0, 1, 0.0, 1.0, sound)
        follow(row, 0.0, 0, 0.0, 0.0, np.zeros(1), row)
        go_straight(0.0, 0.0, 0.0, 0, 1, np.zeros(1), row)
        for node in self._graph.nodes:
            if node.block is None:
                continue
            widths = {p: max((e.source.channels for e in edges), default=1) for p, edges in node.ports.items()}
            nothing = {p: np.zeros((width, 0)) for p, width in widths.items()}
            controls = {p: np.zeros((s.channels, 0)) for p, s in node.controls.items()}
            rows = Moving({name: np.zeros(0) for name in node.motions})
            y, readings = np.zeros((node.channels, 0)), np.zeros((len(node.block.readings), 0))
            node.block.process(Io(0, 0, nothing, controls, rows, y, readings))

    def stream(self) -> Iterator[tuple[int, dict[str, Audio]]]:
        """Yield, span by span, (first frame, outputs by name); the arrays hold until the next span."""
        executor = ThreadPoolExecutor(self.threads - 1) if self.threads > 1 else None
        try:
            for n0, n1 in self._spans():
                outputs = _Span(self, n0, n1 - n0).run(executor)
                yield n0, outputs
        finally:
            if executor is not None:
                executor.shutdown()

    def _spans(self) -> Iterator[tuple[int, int]]:
        events = {0, self.frames}.union(*self._fades.values())
        for node in self._graph.nodes:
            for start, end in node.awake:
                events |= {start, end}
            for edges in node.ports.values():
                for edge in edges:
                    events.update(edge.activity.events())
            for row in self._rows[node].values():
                events.update(row.events())
        cuts = sorted(n for n in events if 0 <= n <= self.frames)
        for start, end in itertools.pairwise(cuts):
            for n0 in range(start, end, self._chunk):
                yield n0, min(n0 + self._chunk, end)

    def awake(self, n0: int) -> tuple[list[Node], dict[Node, int]]:
        """Nodes that run in the span at n0, and how many reads each one's output has."""
        awake = [n for n in self._graph.nodes if any(s <= n0 < t for s, t in n.awake)]
        if awake != self._awake:
            counts = dict.fromkeys(self._graph.nodes, 0)
            for node in [*(s for n in awake for s in self._sources[n]), *self._graph.outputs.values()]:
                counts[node] += 1
            for node in set(self._awake) - set(awake):
                self.running[node] = False
            self._awake, self._reader_counts = awake, counts
            sources = {n: set(self._sources[n]) & set(awake) for n in awake}
            self.waits_for = {n: len(s) for n, s in sources.items()}
            self.readers = {n: [] for n in awake}
            for reader in awake:
                for source in sources[reader]:
                    self.readers[source].append(reader)
        return self._awake, self._reader_counts

    def silence(self, channels: int, frames: int) -> Audio:
        """Zeros to read."""
        if channels not in self._silence:
            self._silence[channels] = np.zeros(channels * self._chunk)
        return self._silence[channels][: channels * frames].reshape(channels, frames)

    def fade(self, outputs: dict[str, Audio], n0: int) -> dict[str, Audio]:
        """Fade out the tails that would be too long."""
        finished = dict(outputs)
        for name, (start, end) in self._fades.items():
            if n0 >= start:
                finished[name] = np.zeros_like(outputs[name])
                if n0 < end:
                    add_ramped(outputs[name], 1.0, n0, start, end, 1.0, 0.0, finished[name])
        return finished


class _Span:
    """One span on its way through the graph."""

    def __init__(self, engine: Engine, n0: int, frames: int) -> None:
        self._e, self._n0, self._frames = engine, n0, frames
        self._held: dict[Node, Held] = {}
        self._lock = threading.Lock()
        self._awake, self._readers = engine.awake(n0)
        self._told: dict[str, Array] = {}

    def run(self, executor: ThreadPoolExecutor | None) -> dict[str, Audio]:
        if executor is None:
            for node in self._awake:
                self._node(node)
        else:
            e = self._e
            SideBySide(self._awake, e.waits_for, e.readers, e.costs, self._node, executor, e.threads).run_all()
        outputs = {name: self._held[node].array for name, node in self._e._graph.outputs.items()}
        silent = {label: np.zeros((1, self._frames)) for label in self._e._graph.readings}
        finished = self._e.fade(outputs, self._n0) | silent | self._told
        for node in self._e._graph.outputs.values():
            self._release(node)
        return finished

    def _node(self, node: Node) -> None:
        e = self._e
        readers = self._readers[node]
        if node.kind == "take":
            self._held[node] = Held(e._read(self._n0, self._frames), readers, owned=False)
            return
        inputs: dict[str, Audio] = {}
        borrowed: list[Audio] = []
        for port, edges in node.ports.items():
            gathered, made = self._gather(edges, self._width(edges))
            if made:
                borrowed.append(gathered)
            inputs[port] = gathered
        if node.block is None:
            self._finish_junction(node, inputs["in"], bool(borrowed), readers)
            return
        if not e.running.get(node, False):
            if node in e.running:
                node.block.reset()
            for row in e._rows[node].values():
                row.reset()
            e.running[node] = True
        y = e._pool.take(node.channels, self._frames)
        readings = np.empty((len(node.block.readings), self._frames))
        node.block.process(
            Io(
                self._n0,
                self._frames,
                inputs,
                {p: self._held[s].array for p, s in node.controls.items()},
                Moving({n: self._moving(r) for n, r in e._rows[node].items()}),
                y,
                readings,
            )
        )
        self._tell(node, y if node.kind == "control" else readings)
        self._held[node] = Held(y, readers, owned=True)
        for array in borrowed:
            e._pool.give(array)
        for source in e._sources[node]:
            self._release(source)

    def _tell(self, node: Node, readings: Array) -> None:
        for label, (told, row) in self._e._graph.readings.items():
            if told is node:
                self._told[label] = readings[row : row + 1].copy()

    def _finish_junction(self, node: Node, x: Audio, made: bool, readers: int) -> None:
        if made:
            self._held[node] = Held(x, readers, owned=True)
        else:
            base = next(
                (self._held[s] for s in self._e._sources[node] if s in self._held and self._held[s].array is x), None
            )
            if base is not None:
                with self._lock:
                    base.left += 1
            self._held[node] = Held(x, readers, owned=False, base=base)
        for source in self._e._sources[node]:
            self._release(source)

    def _moving(self, row: MovingRow) -> Array:
        target = row.target(self._n0)
        if isinstance(target, Driven):
            return row.driven(target.drive, self._held[target.controller].array[0], self._frames)
        return row.set_to(target, self._n0, self._frames)

    def _width(self, edges: list[Edge]) -> int:
        return max((e.source.channels for e in edges), default=1)

    def _gather(self, edges: list[Edge], channels: int) -> tuple[Audio, bool]:
        """Sum the open edges in declared order; where there is one, as it is, hand on its array without copying."""
        n0, frames = self._n0, self._frames
        heard = [(e, e.activity.piece(n0)) for e in edges if e.source in self._held]
        heard = [(e, p) for e, p in heard if p[0] != 0.0 or p[2] > n0]
        if not heard:
            return self._e.silence(channels, frames), False
        first, (gain, _, end, _, _) = heard[0]
        x = self._held[first.source].array
        if len(heard) == 1 and end <= n0 and gain * first.gain == 1.0 and x.shape[0] == channels:
            return x, False
        y = self._e._pool.take(channels, frames)
        started = False
        for edge, (gain, start, end, before, after) in heard:
            x = self._held[edge.source].array
            if end > n0:
                if not started:
                    y.fill(0.0)
                add_ramped(x, edge.gain, n0, start, end, before, after, y)
            elif started:
                add_scaled(x, gain * edge.gain, y)
            else:
                set_scaled(x, gain * edge.gain, y)
            started = True
        return y, True

    def _release(self, node: Node) -> None:
        held = self._held.get(node)
        while held is not None:
            with self._lock:
                held.left -= 1
                finished = held.left == 0
            if not finished:
                return
            if held.owned:
                self._e._pool.give(held.array)
            held = held.base


def _fades(graph: Graph, take_frames: int) -> dict[str, tuple[int, int]]:
    """Where each output whose tail is too long is faded out, as (start, end)."""
    fades = {}
    for name, node in graph.outputs.items():
        if node.tail_s > LONGEST_TAIL_S:
            latency = math.ceil(node.latency[1])
            end = take_frames + latency + math.ceil(LONGEST_TAIL_S * graph.sample_rate_hz)
            fades[name] = (max(0, end - round(FADE_OUT_S * graph.sample_rate_hz)), end)
    return fades
