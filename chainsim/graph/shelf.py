"""What the placing of a sketch remembers: nodes by what they are, and what each state uses of them."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from functools import cached_property

from chainsim.graph.nodes import Edge, Node, Rings
from chainsim.sketch.model import Sketch, State


@dataclass
class PlacedState:
    """Which nodes and edges one state uses from its start sample on, how its blocks end when left, and its tail."""

    start: int
    nodes: set[Node] = field(default_factory=set)
    edges: list[Edge] = field(default_factory=list)
    rings: dict[Node, Rings] = field(default_factory=dict)
    tail_s: float = 0.0


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


@dataclass
class Scope:
    """What all states of one sketch share while they are placed.

    Attributes
    ----------
    sketch : Sketch
    take : Node
    shelf : Shelf
        Of the whole graph; a sketch with several states has one of its own.
    sample_rate_hz : float
    timeline : list of (start sample, State)
    instances : dict of list of Node
        By block name, where there are several states.
    named : dict of Node
        The first node of each block that is heard.
    outputs : dict of Node
        "out" and the probes, each gathered over all states.
    copies : dict of list of Node
        Control sources by key, where there are several states: one more where another would close a loop.
    ears : dict of str
        Where there are several states: the block whose pitch track each block follows.
    trackers : list of Node
        The pitch tracks placed so far.
    before_mute : Node
        Where a sketch that mutes gathers all that may still ring, so that silence is silence.
    """

    sketch: Sketch
    take: Node
    shelf: Shelf
    sample_rate_hz: float
    timeline: list[tuple[int, State]]
    instances: dict[str, list[Node]] = field(default_factory=dict)
    named: dict[str, Node] = field(default_factory=dict)
    outputs: dict[str, Node] = field(default_factory=dict)
    copies: dict[Hashable, list[Node]] = field(default_factory=dict)
    ears: dict[str, str] = field(default_factory=dict)
    trackers: list[Node] = field(default_factory=list)
    before_mute: Node = field(default_factory=lambda: Node("junction", "out before the mute", ports={"in": []}))

    @property
    def has_patches(self) -> bool:
        """Whether there are several states, so that nothing is shared with other sketches."""
        return len(self.timeline) > 1

    @cached_property
    def mutes(self) -> bool:
        """Whether some state is muted."""
        return any(state.muted for _, state in self.timeline)

    @cached_property
    def tempo_changes(self) -> list[list[float]]:
        """(time in seconds, beats per minute) of every state that brings another tempo, the first at 0."""
        changes = [[start / self.sample_rate_hz, state.tempo_bpm] for start, state in self.timeline]
        return [c for k, c in enumerate(changes) if k == 0 or c[1] != changes[k - 1][1]]

    def output(self, name: str) -> Node:
        """The junction that gathers one output over all states."""
        if name not in self.outputs:
            self.outputs[name] = Node("junction", name, ports={"in": []})
        return self.outputs[name]
