"""The parts of a graph: nodes, and the edges that feed their ports."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from chainsim.block import Block
from chainsim.graph.activity import NEVER, Activity
from chainsim.settings import Settings, Spec
from chainsim.stage.drives import Drive

Kind = Literal["take", "junction", "block", "control"]
Rings = Literal["ring", "cut", "plain"]


@dataclass(eq=False)
class Edge:
    """One summand of a port: a source node, a gain, and when it is open."""

    source: Node
    gain: float = 1.0
    activity: Activity = field(default_factory=Activity)


@dataclass(frozen=True)
class Driven:
    """A setting in the hands of a controller."""

    controller: Node
    drive: Drive


Target: TypeAlias = float | Driven


@dataclass(eq=False)
class Motion:
    """How one movable setting of a node moves: what it follows from given samples on, in order of time."""

    spec: Spec
    targets: list[tuple[int, Target]]

    def controllers(self) -> list[Node]:
        """Every controller that drives it at some time."""
        return [target.controller for _, target in self.targets if isinstance(target, Driven)]

    def extremes(self) -> tuple[float, float]:
        """Smallest and largest value it takes, in the user's unit."""
        values: list[float] = []
        for _, target in self.targets:
            values += [target.drive.low, target.drive.high] if isinstance(target, Driven) else [target]
        return min(values), max(values)


@dataclass(eq=False)
class Node:
    """One thing that runs: the take, a sum, a block, or a control source.

    Attributes
    ----------
    ports : dict of list of Edge
        Audio ports and "detector".
    controls : dict of Node
        Control ports.
    awake : list of (start, end)
        Sample intervals in which it runs; it starts each from its reset state.
    latency : (least, greatest)
        Samples from the take to its output, by the shortest and the longest way, extra latency included.
    tail_s : float
        How long it and what feeds it go on after the take ends.
    origins : frozenset of Node
        Whose sound it passes on: the take's, or that of blocks which make their own.
    rest_origins : frozenset of Node
        Of whose sound it passes on at least what has no pitch: tongue, breath and keys.
    part_of : Node or None
        The sum of all lanes, of a sum of some of them that is probed.
    delays : dict of Node
        Of a sum that aligns its lanes: by each source that waits, what delays it.
    """

    kind: Kind
    name: str
    settings: Settings = field(default_factory=Settings)
    block_class: type[Block[Any]] | None = None
    seed_name: str = ""
    ports: dict[str, list[Edge]] = field(default_factory=dict)
    controls: dict[str, Node] = field(default_factory=dict)
    motions: dict[str, Motion] = field(default_factory=dict)
    align: bool = False
    channels: int = 1
    block: Block[Any] | None = None
    awake: list[tuple[int, int]] = field(default_factory=lambda: [(0, NEVER)])
    latency: tuple[float, float] = (0.0, 0.0)
    tail_s: float = 0.0
    origins: frozenset[Node] = frozenset()
    rest_origins: frozenset[Node] = frozenset()
    key: str | None = None
    a4_hz: float = 440.0
    part_of: Node | None = None
    delays: dict[Node, Node] = field(default_factory=dict)

    def sources(self) -> list[Node]:
        """Every node it reads from, or must come after."""
        found = [e.source for edges in self.ports.values() for e in edges]
        found += list(self.controls.values())
        found += [] if self.part_of is None else [self.part_of]
        return found + [c for m in self.motions.values() for c in m.controllers()]

    @property
    def own_latency(self) -> float:
        """Delay nobody asked for, in samples, of this node alone."""
        return self.block.latency_samples if self.block is not None else 0.0

    @property
    def own_tail_s(self) -> float:
        """How long this node alone goes on after its input ends."""
        return self.block.tail_s if self.block is not None else 0.0


def reaches(node: Node, target: Node) -> bool:
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


def in_order(roots: list[Node]) -> list[Node]:
    """Every node the roots depend on, sources first, in an order that depends on the graph alone.

    Raises
    ------
    GraphError
        If the nodes form a loop; the message names it.
    """
    from chainsim.errors import GraphError

    done: dict[Node, int] = {}
    order: list[Node] = []
    for root in roots:
        stack: list[tuple[Node, list[Node]]] = [] if root in done else [(root, root.sources())]
        on_stack = [root] if stack else []
        while stack:
            node, waiting = stack[-1]
            if not waiting:
                stack.pop()
                on_stack.pop()
                done[node] = len(order)
                order.append(node)
                continue
            source = waiting.pop(0)
            if source in on_stack:
                names = [n.name for n in on_stack[on_stack.index(source) :]]
                raise GraphError(f"loop: {' -> '.join([*names, source.name])}")
            if source not in done:
                stack.append((source, source.sources()))
                on_stack.append(source)
    return order
