"""One state's equations become nodes and edges."""

from __future__ import annotations

import json
from collections.abc import Hashable, Sequence
from typing import Any

from chainsim.block import Block, block_type, settings_json
from chainsim.errors import GraphError
from chainsim.graph.control_placing import ControlPlacing
from chainsim.graph.junctions import Fold, Latency, LatencySettings
from chainsim.graph.legs import with_leg
from chainsim.graph.nodes import Driven, Edge, Motion, Node, Rings, Target, reaches
from chainsim.graph.shelf import PlacedState, Scope
from chainsim.graph.wiring import (
    After,
    Input,
    Levelled,
    PartSum,
    Signal,
    Silence,
    Sum,
    Term,
    Wiring,
    blocks_behind,
    heard_at,
    wire,
)
from chainsim.settings import Settings
from chainsim.sketch.model import BlockEntry, State
from chainsim.sketch.wire_names import leg_name
from chainsim.units import db_to_gain


class StatePlacing:
    """One state on its way into the graph."""

    def __init__(self, scope: Scope, start: int, state: State) -> None:
        self._scope, self._shelf, self._state = scope, scope.shelf, state
        self._wiring: Wiring = wire(state)
        self._nodes: dict[str, Node] = {}
        self._sums: dict[int, Node | None] = {}
        self._in_work: list[str] = []
        self._probing = False
        self._placed = PlacedState(start, {scope.take})
        self._controls = ControlPlacing(scope, state, self._wiring, self._placed, self._source, self._connect)

    def place(self, probes: tuple[str, ...]) -> PlacedState:
        """Add this state's nodes and edges; return what it uses."""
        out = self._wiring.out
        folds = self._scope.sketch.header.feed == "mono"
        heard = self._plain(Fold, Settings(), "fold to mono", out) if folds else self._source(out)
        trim = db_to_gain(self._state.trim_db)
        if self._scope.mutes:
            self._feed(self._scope.before_mute, heard, trim)
            heard, trim = None if self._state.muted else self._scope.before_mute, 1.0
        self._feed(self._scope.output("out"), heard, trim)
        if self._scope.has_patches:
            self._controls.place_all()
        running = set(self._nodes)
        self._probing = self._scope.has_patches
        for probe in probes:
            signal = heard_at(probe, self._wiring)
            # What sleeps in this state is not woken to be probed: it would be heard after another cue.
            asleep = self._scope.has_patches and not running >= blocks_behind(signal)
            self._feed(self._scope.output(probe), None if asleep else self._source(signal))
        return self._placed

    def _feed(self, node: Node, source: Node | None, gain: float = 1.0) -> None:
        self._placed.nodes.add(node)
        if source is not None:
            self._connect(node, "in", [(source, gain)])

    def _source(self, signal: Signal) -> Node | None:
        if isinstance(signal, Silence):
            return None
        if isinstance(signal, Input):
            return self._scope.take
        if isinstance(signal, After):
            return self._block(signal.block)
        if isinstance(signal, Levelled):
            return self._leg(signal)
        if id(signal) not in self._sums:
            self._sums[id(signal)] = self._sum(signal)
        return self._sums[id(signal)]

    def _sum(self, signal: Sum | PartSum) -> Node | None:
        if isinstance(signal, PartSum):
            whole = self._source(signal.whole)
            return self._junction(signal.whole.terms[signal.first : signal.end], signal.whole.align, whole)
        return self._junction(signal.terms, signal.align)

    def _junction(self, summed: Sequence[Term], align: bool, part_of: Node | None = None) -> Node | None:
        terms = []
        for i, term in enumerate(summed):
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
        whole = None if part_of is None else self._shelf.number(part_of)
        key = self._key(("sum", align, whole, tuple((self._shelf.number(s), g) for s, g in terms)))
        node = self._shelf.find(key)
        if node is None:
            node = self._shelf.keep(key, Node("junction", "sum of lanes", align=align, part_of=part_of))
            node.ports["in"] = [Edge(source, gain) for source, gain in terms]
        self._use(node, node.ports["in"])
        return node

    def _key(self, key: Hashable) -> Hashable:
        """In a set, what a probe needs and this state does not is the probe's own: it wakes nothing."""
        asleep = self._probing and self._shelf.find(key) not in self._placed.nodes
        return ("probe", key) if asleep else key

    def _plain(self, cls: type[Block[Any]], settings: Settings, name: str, signal: Signal) -> Node | None:
        """A stateless helper of the graph's own behind a signal."""
        source = self._source(signal)
        return None if source is None else self._behind(cls, settings, name, source)

    def _behind(
        self, cls: type[Block[Any]], settings: Settings, name: str, source: Node, rings: Rings = "plain"
    ) -> Node:
        key = self._key((cls.type_name, settings_json(settings), self._shelf.number(source)))
        node = self._shelf.find(key)
        if node is None:
            node = self._shelf.keep(key, Node("block", name, settings, cls, ports={"in": [Edge(source)]}))
            node.motions = _still(cls, settings)
        self._placed.rings[node] = rings
        self._use(node, node.ports["in"])
        return node

    def _leg(self, signal: Levelled) -> Node | None:
        """A gain of the graph's own, which moves as the blender's level does."""
        name = leg_name(signal.block, signal.leg)
        if name not in self._wiring.ports:
            self._wiring.ports[name] = {"in": self._wiring.ports[signal.block][signal.leg]}
            self._state = with_leg(self._state, signal.block, signal.leg)
        return self._block(name)

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
        heard = ports.get("detector", [])
        controls = {port: self._controls.control(port, entry, heard) for port in cls.controls_for(entry.settings)}
        motions = self._motions(entry, cls)
        self._in_work.pop()
        node = self._instance(entry, cls, ports, controls, motions)
        for port, sources in ports.items():
            self._connect(node, port, sources)
        self._placed.nodes.add(node)
        self._placed.rings[node] = entry.rings
        self._scope.named.setdefault(name, node)
        if entry.common.latency_ms > 0.0:
            samples = round(entry.common.latency_ms * self._scope.sample_rate_hz / 1000.0)
            node = self._behind(Latency, LatencySettings(samples=samples), f"latency of {name}", node, entry.rings)
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
        folder = self._scope.sketch.folder if cls.reads_files else None
        header, harmony = self._scope.sketch.header, self._state.key if cls.follows_key(entry.settings) else None
        about = (header.instrument, header.lowest_hz, harmony, self._state.a4_hz, folder)
        key: tuple[Hashable, ...] = (cls.type_name, json.dumps(fixed, sort_keys=True), about)
        if self._scope.has_patches:
            return self._own_instance(entry, cls, key, ports, controls, motions)
        number = self._shelf.number
        key += (
            entry.name if cls.is_seeded(entry.settings) else "",
            tuple((p, tuple((number(s), g) for s, g in sources)) for p, sources in ports.items()),
            tuple((p, number(n)) for p, n in controls.items()),
            tuple((n, *(self._target_key(t) for _, t in m.targets)) for n, m in motions.items()),
        )
        return self._shelf.find(key) or self._shelf.keep(key, self._new(entry, cls, controls, motions))

    def _target_key(self, target: Target) -> Hashable:
        return (self._shelf.number(target.controller), target.drive) if isinstance(target, Driven) else target

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
        sources += [c for m in motions.values() for c in m.controllers()]
        known = self._scope.instances.setdefault(entry.name, [])
        for node in known:
            if self._keys_match(node, key) and node.controls == controls:
                if any(reaches(source, node) for source in sources):
                    continue
                for name, motion in motions.items():
                    target = motion.targets[0][1]
                    if node.motions[name].targets[-1][1] != target:
                        node.motions[name].targets.append((self._placed.start, target))
                return node
        node = self._new(entry, cls, controls, motions)
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
                target: Target = float(getattr(entry.settings, name))
                if (entry.name, name) in self._state.drives:
                    controller, drive = self._state.drives[entry.name, name]
                    target = Driven(self._controls.controller(self._scope.sketch.controllers[controller]), drive)
                motions[name] = Motion(spec, [(self._placed.start, target)])
        return motions

    def _connect(self, node: Node, port: str, sources: Sequence[tuple[Node, float]]) -> None:
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
