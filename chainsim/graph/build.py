"""Building the graph of one or many sketches for a take of a given rate and layout."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from chainsim.block import Context, seed_of
from chainsim.errors import SettingError, SketchError
from chainsim.graph.activity import NEVER
from chainsim.graph.combs import find_comb, set_origins
from chainsim.graph.junctions import Latency, LatencySettings
from chainsim.graph.nodes import Edge, Node, Rings, in_order
from chainsim.graph.placing import Placing
from chainsim.graph.schedule import LONGEST_TAIL_S, schedule
from chainsim.graph.shelf import PlacedState, Shelf
from chainsim.sketch.model import Sketch


@dataclass(frozen=True)
class Graph:
    """What runs. Made by `GraphBuilder.build`; good for one render.

    Attributes
    ----------
    nodes : list of Node
        Sources before what reads them.
    outputs : dict of Node
        By name: "out" and the probes, with "LABEL:" before them where a sketch was added under a label.
    take : Node
    sample_rate_hz : float
    latency : (float, float)
        Samples from the take to the outputs named "out", by the shortest and the longest way.
    tail_s : float
        How long the longest output goes on after the take, in whatever state of its sketch that ends.
    warnings : list of str
    readings : dict of (node, row)
        What blocks tell of themselves and a reader wants, by "BLOCK:READING".
    courses : dict of list of PlacedState
        For each sketch, by its label, its states in order of time.
    latencies : dict of (float, float)
        As `latency`, of each sketch by its label.
    own_warnings : dict of list of str
        Those of `warnings` that are about one sketch, by its label.
    """

    nodes: list[Node]
    outputs: dict[str, Node]
    take: Node
    sample_rate_hz: float
    latency: tuple[float, float]
    tail_s: float
    warnings: list[str] = field(default_factory=list)
    readings: dict[str, tuple[Node, int]] = field(default_factory=dict)
    courses: dict[str, list[PlacedState]] = field(default_factory=dict)
    latencies: dict[str, tuple[float, float]] = field(default_factory=dict)
    own_warnings: dict[str, list[str]] = field(default_factory=dict)

    def nodes_of(self, label: str) -> set[Node]:
        """Every node that a sketch uses in one of its states."""
        return set[Node]().union(*(state.nodes for state in self.courses[label]))

    @property
    def follows_pitch(self) -> bool:
        """Whether a block in it goes by the pitch of what is played, from whatever source."""
        return any("pitch" in node.controls for node in self.nodes)

    def channels(self, name: str) -> int:
        """Channels of an output or a reading."""
        return 1 if name in self.readings else self.outputs[name].channels

    def frames(self, take_frames: int, label: str | None = None) -> int:
        """Length of a render: the take, the latency, and what then still sounds in the state it ends in.

        Of several sketches that of one, by its label, or of the longest.
        """
        return max(self._end(each, take_frames) for each in self.courses if label in (each, None))

    def _end(self, label: str, take_frames: int) -> int:
        course, latency = self.courses[label], math.ceil(self.latencies[label][1])
        end = take_frames + latency
        left: dict[Node, Rings] = {}
        for state, after in zip(course, [*course[1:], None], strict=True):
            if after is not None and after.start <= take_frames:
                left.update((node, state.rings.get(node, "plain")) for node in state.nodes)
            elif state.start <= end:
                left = {node: rings for node, rings in left.items() if node not in state.nodes}
                tail = math.ceil(min(state.tail_s, LONGEST_TAIL_S) * self.sample_rate_hz)
                end = max(end, max(take_frames, state.start) + latency + tail)
        heard_until = [
            self._heard_until(node, rings, stop)
            for node, rings in left.items()
            for start, stop in node.awake
            if start < take_frames < stop < NEVER
        ]
        return max([end, *heard_until])

    def _heard_until(self, node: Node, rings: Rings, stop: int) -> int:
        """When a node that was left is no longer heard: one that rings goes on for a second tail that nobody hears."""
        unheard_s = min(node.own_tail_s, LONGEST_TAIL_S) if rings == "ring" else 0.0
        return stop - math.floor(unheard_s * self.sample_rate_hz)


class GraphBuilder:
    """Collects sketches and builds one graph of them; what is equal is built once."""

    def __init__(self, sample_rate_hz: float, take_channels: int = 1) -> None:
        self._rate_hz = float(sample_rate_hz)  # a whole number would compile every kernel anew
        self._take = Node("take", "input", channels=take_channels)
        self._shelf = Shelf()
        self._placings: dict[str, Placing] = {}
        self._outputs: dict[str, Node] = {}
        self._readings: dict[str, tuple[Node, int]] = {}

    def add(self, sketch: Sketch, *, label: str = "", probes: Iterable[str] = ()) -> None:
        """Add a sketch's output and its probes; what others of the graph have alike is not built again.

        Raises
        ------
        GraphError
            If detectors or controllers form a loop, or a probe names no block or wire; nothing is added then.
        """
        probes = list(probes)
        placing = Placing(sketch, self._take, self._shelf, self._rate_hz, tuple(p for p in probes if ":" not in p))
        readings = {p: placing.reading(*p.split(":", 1)) for p in probes if ":" in p}
        self._placings[label] = placing
        self._outputs.update({_labelled(label, name): node for name, node in placing.outputs.items()})
        self._readings.update({_labelled(label, name): reading for name, reading in readings.items()})

    def watch(self, label: str, type_name: str, reading: str) -> list[str]:
        """Add a reading of every block of a type that is engaged and heard in a sketch; return their names."""
        watched = self._placings[label].readings(type_name, reading)
        self._readings.update({_labelled(label, name): found for name, found in watched.items()})
        return [_labelled(label, name) for name in watched]

    def build(self) -> Graph:
        """Prepare every block and schedule every change.

        Raises
        ------
        SketchError
            If a block cannot be prepared for this rate and layout; all such faults together.
        """
        roots = list(self._outputs.values())
        order = in_order([*roots, *(node for node, _ in self._readings.values())])
        self._prepare(order)
        placings = self._placings.values()
        placed = [state for placing in placings for state in placing.placed]
        said = {node: _set_latency(node, order, placed, self._rate_hz) for node in list(order)}
        for placing in placings:
            if len(placing.placed) > 1:
                schedule(placing.placed, order, self._rate_hz)
        for placing in placings:
            for state in placing.placed:
                state.tail_s = _tail_s(state, order, placing.outputs.values())
        outs = [n for n in roots if n.name == "out"]
        tail_s = max((state.tail_s for state in placed), default=0.0)
        courses = {label: placing.placed for label, placing in self._placings.items()}
        latency = (min(n.latency[0] for n in outs), max(n.latency[1] for n in outs))
        graph = Graph(
            order, self._outputs, self._take, self._rate_hz, latency, min(tail_s, LONGEST_TAIL_S),
            [*itertools.chain(*said.values()), *_endless(placed)], self._readings, courses,
            {label: self._outputs[_labelled(label, "out")].latency for label in courses},
        )  # fmt: skip
        for label, states in courses.items():
            nodes = graph.nodes_of(label)
            own = itertools.chain(*(lines for node, lines in said.items() if node in nodes))
            graph.own_warnings[label] = [*own, *_endless(states)]
        return graph

    def _prepare(self, order: list[Node]) -> None:
        owner = {n: p for p in self._placings.values() for s in p.placed for n in s.nodes}
        faults = []
        for node in order:
            widths = {p: max((e.source.channels for e in edges), default=1) for p, edges in node.ports.items()}
            if node.block_class is None:
                node.channels = node.channels if node.kind == "take" else widths["in"]
                continue
            placing = owner[node]
            node.channels = node.block_class.output_channels(node.settings, widths)
            node.block = node.block_class(node.settings)
            extremes = {n: m.extremes() for n, m in node.motions.items()}
            context = Context(
                sample_rate_hz=self._rate_hz,
                channels=widths,
                out_channels=node.channels,
                extremes=extremes,
                tempo_bpm=placing.tempo_bpm,
                lowest_hz=placing.sketch.header.horn_lowest_hz,
                seed=seed_of(node.block_class.type_name, node.seed_name, node.settings),
                key=node.key,
                instrument=placing.sketch.header.instrument,
                a4_hz=node.a4_hz,
                meter=placing.sketch.header.meter,
                assets=placing.sketch.assets,
            )
            try:
                node.block.prepare(context)
            except SettingError as error:
                place = node.name if node.kind == "control" else f"blocks.{node.name}"
                faults.append(f"{place}: {error}")
        if faults:
            raise SketchError(faults)


def _labelled(label: str, name: str) -> str:
    return f"{label}:{name}" if label else name


def _endless(states: Iterable[PlacedState]) -> Iterator[str]:
    """What is said of states whose tail is too long to be rendered."""
    tail_s = max((state.tail_s for state in states), default=0.0)
    if tail_s > LONGEST_TAIL_S:
        length = "never ends" if math.isinf(tail_s) else f"may go on for {tail_s:.0f} s"
        yield f"the tail {length}; it is faded out {LONGEST_TAIL_S:g} s after the take"


def _set_latency(node: Node, order: list[Node], placed: list[PlacedState], rate_hz: float) -> list[str]:
    """Set a node's latency, and that of what aligns its lanes; return what is to be said of it."""
    warnings = []
    if node.part_of is not None:
        for edge in node.ports["in"]:
            edge.source = node.part_of.delays.get(edge.source, edge.source)
    elif node.align and len(node.ports["in"]) > 1:
        _align(node, order, placed)
    paths = [e for p, edges in node.ports.items() for e in edges if p != "detector"]
    set_origins(node, paths)
    comb = None if node.part_of is not None else find_comb(node, paths, placed, rate_hz)
    if comb is not None:
        warnings.append(comb)
    least = min((e.source.latency[0] for e in paths), default=0.0)
    most = max((e.source.latency[1] for e in paths), default=0.0)
    heard = [e.source.latency[0] for e in node.ports.get("detector", [])]
    if heard and least - min(heard) >= 0.5:
        early_ms = 1000 * (least - min(heard)) / rate_hz
        warnings.append(f"{node.name}: its detector hears {early_ms:.2f} ms earlier than the sound arrives")
    own = node.own_latency
    node.latency = (least + own, most + own)
    return warnings


def _align(node: Node, order: list[Node], placed: list[PlacedState]) -> None:
    latest = max(e.source.latency[1] for e in node.ports["in"])
    for i, edge in enumerate(node.ports["in"]):
        samples = round(latest - edge.source.latency[1])
        if samples > 0:
            settings = LatencySettings(samples=samples)
            source = edge.source
            inner = Edge(source)
            delay = Node("block", f"alignment of lane {i + 1}", settings, Latency, ports={"in": [inner]})
            delay.channels, delay.block = source.channels, Latency(settings)
            delay.block.prepare(Context(0.0, {"in": source.channels}, source.channels))
            delay.latency = (source.latency[0] + samples, source.latency[1] + samples)
            set_origins(delay, [inner])
            edge.source = node.delays[source] = delay
            order.insert(order.index(node), delay)
            for state in placed:
                if edge in state.edges:
                    state.nodes.add(delay)
                    state.edges.append(inner)


def _tail_s(state: PlacedState, order: list[Node], outputs: Iterable[Node]) -> float:
    """How long the outputs of a state go on after the take; a node remembers the longest of all its states."""
    used, tails = set(state.edges), dict[Node, float]()
    for node in order:
        if node in state.nodes:
            heard = [e for port, edges in node.ports.items() for e in edges if port != "detector" and e in used]
            tails[node] = max((tails.get(e.source, 0.0) for e in heard), default=0.0) + node.own_tail_s
            node.tail_s = max(node.tail_s, tails[node])
    return max((tails.get(node, 0.0) for node in outputs), default=0.0)
