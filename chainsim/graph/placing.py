"""From equations to nodes: one sketch's states placed into a graph, sharing what is equal.

Outside patches, equal nodes are one node, whatever sketch they come from. A sketch with several states has one
instance of each block, and a second one only where a fixed setting differs or the wires would close a loop.
"""

from __future__ import annotations

import json
from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Any

from chainsim.block import Block, block_type, settings_json
from chainsim.errors import GraphError
from chainsim.graph.junctions import Fold, Latency, LatencySettings
from chainsim.graph.nodes import Edge, Motion, Node
from chainsim.graph.wiring import After, Input, Signal, Silence, Sum, Wiring, heard_at, wire
from chainsim.settings import Settings
from chainsim.sketch.model import BlockEntry, ControllerEntry, Sketch, State
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.tempo import Tempo, TempoSettings


@dataclass
class PlacedState:
    """Which nodes and edges one state uses from its start sample on."""

    start: int
    nodes: set[Node] = field(default_factory=set)
    edges: list[Edge] = field(default_factory=list)


class Shelf:
    """Nodes by what they are, so that equal ones are found again."""

    def __init__(self) -> None:
        self._nodes: dict[Hashable, Node] = {}
        self._numbers: dict[Node, int] = {}

    def number(self, node: Node) -> int:
        """A number of the node's own, for use in keys."""
        return self._numbers.setdefault(node, len(self._numbers))

    def find(self, key: Hashable) -> Node | None:
        """The node kept under this key."""
        return self._nodes.get(key)

    def keep(self, key: Hashable, node: Node) -> Node:
        """Keep a node under a key."""
        self._nodes[key] = node
        return node


class Placing:
    """Places one sketch; `shelf` is shared by all sketches of a graph unless this one has several states."""

    def __init__(self, sketch: Sketch, take: Node, shelf: Shelf, sample_rate_hz: float) -> None:
        self.sketch = sketch
        self.take = take
        self._rate_hz = sample_rate_hz
        self._timeline = [(round(at_s * sample_rate_hz), state) for at_s, state in sketch.timeline()]
        self._alone = len(self._timeline) > 1
        self._shelf = Shelf() if self._alone else shelf
        self._instances: dict[str, list[Node]] = {}
        self._outputs: dict[str, Node] = {}
        self.named: dict[str, Node] = {}
        self.placed: list[PlacedState] = []
        self.tempo_bpm = (min(s.tempo_bpm for _, s in self._timeline), max(s.tempo_bpm for _, s in self._timeline))

    def place(self, probes: tuple[str, ...]) -> dict[str, Node]:
        """Place every state; return the output nodes: "out" and one for each probe."""
        for start, state in self._timeline:
            _StatePlacing(self, start, state).place(probes)
        return self._outputs

    def reading(self, block: str, reading: str) -> tuple[Node, int]:
        """The node and the row of what a block tells of itself.

        Raises
        ------
        GraphError
            If the block is engaged and heard in no state, or has no such reading.
        """
        node = self.named.get(block)
        if node is None or node.block_class is None or reading not in node.block_class.readings:
            raise GraphError(f'no reading "{reading}" of a block "{block}" that is engaged and heard')
        return node, node.block_class.readings.index(reading)

    def output(self, name: str) -> Node:
        """The junction that gathers one output over all states."""
        if name not in self._outputs:
            self._outputs[name] = Node("junction", name, ports={"in": []})
        return self._outputs[name]


class _StatePlacing:
    """One state on its way into the graph."""

    def __init__(self, whole: Placing, start: int, state: State) -> None:
        self._whole, self._shelf, self._state = whole, whole._shelf, state
        self._wiring: Wiring = wire(state)
        self._nodes: dict[str, Node] = {}
        self._in_work: list[str] = []
        self._placed = PlacedState(start, {whole.take})
        self._drives = {(d.block, d.setting): (c, d) for c in whole.sketch.controllers.values() for d in c.drives}

    def place(self, probes: tuple[str, ...]) -> None:
        """Add this state's nodes and edges."""
        out = self._wiring.out
        if self._whole.sketch.header.feed == "mono":
            self._feed_output("out", self._plain(Fold, Settings(), "fold to mono", out))
        else:
            self._feed_output("out", self._source(out))
        for probe in probes:
            if probe not in self._state.blocks and probe != "input":
                known = ", ".join(["input", *self._state.blocks])
                raise GraphError(f'probe "{probe}": no such block; there are {known}')
            self._feed_output(probe, self._source(heard_at(probe, self._wiring)))
        self._whole.placed.append(self._placed)

    def _feed_output(self, name: str, source: Node | None) -> None:
        node = self._whole.output(name)
        self._placed.nodes.add(node)
        if source is not None:
            self._connect(node, "in", [(source, 1.0)])

    def _source(self, signal: Signal) -> Node | None:
        if isinstance(signal, Silence):
            return None
        if isinstance(signal, Input):
            return self._whole.take
        if isinstance(signal, After):
            return self._block(signal.block)
        return self._sum(signal)

    def _sum(self, signal: Sum) -> Node | None:
        terms = []
        for i, term in enumerate(signal.terms):
            source = self._source(term.signal)
            if source is not None and term.pan is not None:
                pan = block_type("pan")
                source = self._plain(
                    pan, pan.settings_type.model_validate({"pan": term.pan}), f"pan of lane {i + 1}", term.signal
                )
            if source is not None:
                terms.append((source, term.gain))
        if not terms:
            return None
        key = ("sum", signal.align, tuple((self._shelf.number(s), g) for s, g in terms))
        node = self._shelf.find(key)
        if node is None:
            node = self._shelf.keep(key, Node("junction", "sum of lanes", align=signal.align))
            node.ports["in"] = [Edge(source, gain) for source, gain in terms]
        self._use(node, node.ports["in"])
        return node

    def _plain(self, cls: type[Block[Any]], settings: Settings, name: str, signal: Signal) -> Node | None:
        """A stateless helper of the graph's own behind a signal."""
        source = self._source(signal)
        return None if source is None else self._behind(cls, settings, name, source)

    def _behind(self, cls: type[Block[Any]], settings: Settings, name: str, source: Node) -> Node:
        key = (cls.type_name, settings_json(settings), self._shelf.number(source))
        node = self._shelf.find(key)
        if node is None:
            node = self._shelf.keep(key, Node("block", name, settings, cls, ports={"in": [Edge(source)]}))
            node.motions = _still(cls, settings)
        self._use(node, node.ports["in"])
        return node

    def _block(self, name: str) -> Node | None:
        if name in self._nodes:
            return self._nodes[name]
        if name in self._in_work:
            path = [*self._in_work[self._in_work.index(name) :], name]
            raise GraphError(f"blocks.{path[0]}: loop through listens_to or a controller: {' -> '.join(path)}")
        self._in_work.append(name)
        entry = self._state.blocks[name]
        cls = block_type(entry.type_name)
        ports = {}
        for port, signal in self._wiring.ports[name].items():
            source = self._source(signal)
            ports[port] = [] if source is None else [(source, 1.0)]
        controls = {port: self._tempo() for port in cls.control_inputs}
        motions = self._motions(entry, cls)
        self._in_work.pop()
        node = self._instance(entry, cls, ports, controls, motions)
        for port, sources in ports.items():
            self._connect(node, port, sources)
        self._placed.nodes.add(node)
        self._whole.named.setdefault(name, node)
        if entry.common.latency_ms > 0.0:
            samples = round(entry.common.latency_ms * self._whole._rate_hz / 1000.0)
            node = self._behind(Latency, LatencySettings(samples=samples), f"latency of {name}", node)
        self._nodes[name] = node
        return node

    def _instance(
        self,
        entry: BlockEntry,
        cls: type[Block[Any]],
        ports: dict[str, list[tuple[Node, float]]],
        controls: dict[str, Node],
        motions: dict[str, Motion],
    ) -> Node:
        fixed = {k: v for k, v in json.loads(settings_json(entry.settings)).items() if k not in motions}
        about = (self._whole.sketch.header.instrument, self._state.key, self._state.a4_hz)
        key: tuple[Hashable, ...] = (cls.type_name, json.dumps(fixed, sort_keys=True), about)
        if self._whole._alone:
            return self._own_instance(entry, cls, key, ports, controls, motions)
        number = self._shelf.number
        key += (
            entry.name if cls.seeded else "",
            tuple((p, tuple((number(s), g) for s, g in sources)) for p, sources in ports.items()),
            tuple((p, number(n)) for p, n in controls.items()),
            tuple((n, tuple(m.targets), m.controller and number(m.controller), m.drive) for n, m in motions.items()),
        )
        return self._shelf.find(key) or self._shelf.keep(key, self._new(entry, cls, controls, motions))

    def _own_instance(
        self,
        entry: BlockEntry,
        cls: type[Block[Any]],
        key: Hashable,
        ports: dict[str, list[tuple[Node, float]]],
        controls: dict[str, Node],
        motions: dict[str, Motion],
    ) -> Node:
        sources = [s for pairs in ports.values() for s, _ in pairs]
        sources += [m.controller for m in motions.values() if m.controller is not None]
        known = self._whole._instances.setdefault(entry.name, [])
        for i, node in enumerate(known):
            if self._shelf.find(("instance", entry.name, i)) is node and self._keys_match(node, key):
                if any(_reaches(source, node) for source in sources):
                    continue
                for name, motion in motions.items():
                    value = motion.targets[0][1]
                    if node.motions[name].targets[-1][1] != value:
                        node.motions[name].targets.append((self._placed.start, value))
                return node
        node = self._new(entry, cls, controls, motions)
        self._shelf.keep(("instance", entry.name, len(known)), node)
        self._shelf.keep(("key", self._shelf.number(node), key), node)
        known.append(node)
        return node

    def _keys_match(self, node: Node, key: Hashable) -> bool:
        return self._shelf.find(("key", self._shelf.number(node), key)) is node

    def _new(
        self, entry: BlockEntry, cls: type[Block[Any]], controls: dict[str, Node], motions: dict[str, Motion]
    ) -> Node:
        ports: dict[str, list[Edge]] = {p: [] for p in cls.audio_inputs}
        if cls.has_detector:
            ports["detector"] = []
        return Node(
            "block",
            entry.name,
            entry.settings,
            cls,
            entry.rings,
            entry.name,
            ports,
            controls,
            motions,
            key=self._state.key,
            a4_hz=self._state.a4_hz,
        )

    def _motions(self, entry: BlockEntry, cls: type[Block[Any]]) -> dict[str, Motion]:
        motions = {}
        for name, spec in cls.settings_type.specs().items():
            if spec.movable:
                motion = Motion(spec, [(self._placed.start, float(getattr(entry.settings, name)))])
                if (entry.name, name) in self._drives:
                    controller, motion.drive = self._drives[entry.name, name]
                    motion.controller = self._controller(controller)
                motions[name] = motion
        return motions

    def _controller(self, entry: ControllerEntry) -> Node:
        place = f"controllers.{entry.name}"
        if place in self._nodes:
            return self._nodes[place]
        if place in self._in_work:
            path = [*self._in_work[self._in_work.index(place) :], place]
            raise GraphError(f"{place}: loop: {' -> '.join(path)}")
        self._in_work.append(place)
        cls = CONTROLLER_TYPES[entry.type_name]
        source = self._source(heard_at(entry.listens_to, self._wiring)) if entry.listens_to else None
        self._in_work.pop()
        heard = None if source is None or self._whole._alone else self._shelf.number(source)
        name = place if self._whole._alone else ""
        key = (cls.type_name, settings_json(entry.settings), heard, name)
        node = self._shelf.find(key)
        if node is None:
            node = self._shelf.keep(key, Node("control", place, entry.settings, cls))
            node.ports = {port: [] for port in cls.audio_inputs}
        if source is not None:
            self._connect(node, "in", [(source, 1.0)])
        self._placed.nodes.add(node)
        self._nodes[place] = node
        return node

    def _tempo(self) -> Node:
        rate_hz = self._whole._rate_hz
        changes = [[start / rate_hz, state.tempo_bpm] for start, state in self._whole._timeline]
        settings = TempoSettings(changes=changes)
        key = ("tempo", settings_json(settings))
        node = self._shelf.find(key) or self._shelf.keep(key, Node("control", "tempo", settings, Tempo))
        self._placed.nodes.add(node)
        return node

    def _connect(self, node: Node, port: str, sources: list[tuple[Node, float]]) -> None:
        edges = node.ports[port]
        used = []
        for source, gain in sources:
            edge = next((e for e in edges if e.source is source and e.gain == gain), None)
            if edge is None:
                edge = Edge(source, gain)
                edges.append(edge)
            used.append(edge)
        self._use(node, used)

    def _use(self, node: Node, edges: list[Edge]) -> None:
        self._placed.nodes.add(node)
        self._placed.edges += edges


def _still(cls: type[Block[Any]], settings: Settings) -> dict[str, Motion]:
    """Motions of a block whose settings stay as they are."""
    specs = cls.settings_type.specs().items()
    return {n: Motion(s, [(0, float(getattr(settings, n)))]) for n, s in specs if s.movable}


def _reaches(node: Node, target: Node) -> bool:
    """Whether `target` is `node` or among what it depends on."""
    seen, stack = set(), [node]
    while stack:
        at = stack.pop()
        if at is target:
            return True
        if at not in seen:
            seen.add(at)
            stack += at.sources()
    return False
