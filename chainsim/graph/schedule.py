"""Who runs when, and which edges are open, for a sketch whose state changes during a render.

All cues are known before a render starts, so every ramp, every end of a tail, every sleep and every waking gets its
absolute sample here. The rules, for a change of state at sample t with ramps of R samples:

- An edge between nodes that stay is ramped.
- A node that is left and rings gets its input ramped to zero at once and stays connected until its tail has ended;
  a node that is left and does not ring has its output ramped to zero.
- A plain node (no tail of its own) that a ringing one feeds stays with it to the end.
- A node that is entered and rings (or a sum) has its input ramped up; of any other the output is ramped up.
- A node that is entered again while it rings goes on ringing.
"""

from __future__ import annotations

import itertools
import math

from chainsim.graph.activity import NEVER
from chainsim.graph.nodes import Edge, Node
from chainsim.graph.placing import PlacedState

RAMP_S = 0.010
LONGEST_TAIL_S = 60.0
"""Tails that go on longer, or for ever, are faded out so long after the take."""
FADE_OUT_S = 5.0
SETTLED_TAILS = 2.0
"""How many reported tails (each 90 dB) a node rings before it sleeps."""


def schedule(placed: list[PlacedState], order: list[Node], sample_rate_hz: float) -> None:
    """Write the activity of every edge and the waking hours of every node."""
    timeline = _Timeline(placed, order, sample_rate_hz)
    timeline.begin()
    for before, after in itertools.pairwise(placed):
        timeline.change(before, after)
    timeline.settle(NEVER)
    timeline.finish()


class _Timeline:
    def __init__(self, placed: list[PlacedState], order: list[Node], sample_rate_hz: float) -> None:
        self._placed = placed
        mine = set().union(*(p.nodes for p in placed))
        for state in placed:
            state.nodes |= {n for n in mine if n.kind == "control"}
        self._order = [n for n in order if n in mine]
        self._rate_hz = sample_rate_hz
        self._ramp = max(1, round(RAMP_S * sample_rate_hz))
        self._awake_since: dict[Node, int] = {}
        self._hours: dict[Node, list[tuple[int, int]]] = {n: [] for n in self._order}
        self._death: dict[Node, int] = {}
        self._cut: set[Node] = set()

    def begin(self) -> None:
        first = self._placed[0]
        used = set(first.edges)
        for node in self._order:
            for edge in _edges(node):
                edge.activity.before = 1.0 if edge in used else 0.0
        for node in first.nodes:
            self._awake_since[node] = 0

    def change(self, before: PlacedState, after: PlacedState) -> None:
        """Apply one change of state."""
        t = after.start
        self.settle(t)
        new = {n for n in after.nodes if n not in self._awake_since}
        for node in after.nodes:
            self._death.pop(node, None)
            self._cut.discard(node)
            self._awake_since.setdefault(node, t)
        wanted = set(after.edges)
        for node in self._order:
            for edge in _edges(node):
                if edge in wanted and edge.activity.last != 1.0:
                    edge.activity.move(t, self._rise(edge, node, new), 1.0)
        left = {n for n in self._awake_since if n not in after.nodes}
        self._decide_cuts(left)
        for node in self._order:
            for edge in _edges(node):
                if edge not in wanted and edge.activity.last != 0.0 and self._falls_at_once(edge, node, left):
                    edge.activity.move(t, self._ramp, 0.0)
        self._set_deaths(t, left)

    def _rise(self, edge: Edge, node: Node, new: set[Node]) -> int:
        if edge.source in new:
            return self._ramp if not _starts_from_silence(edge.source) else 0
        return 0 if node in new and not _starts_from_silence(node) else self._ramp

    def _decide_cuts(self, left: set[Node]) -> None:
        for node in self._order:
            if node in left and node not in self._death:
                fed = any(
                    e.source in left and e.source not in self._cut and e.activity.last > 0.0 for e in _edges(node)
                )
                if node.rings == "cut" or (node.rings == "plain" and not fed):
                    self._cut.add(node)

    def _falls_at_once(self, edge: Edge, node: Node, left: set[Node]) -> bool:
        if edge.source in left:
            return edge.source in self._cut
        return node not in self._cut

    def _set_deaths(self, t: int, left: set[Node]) -> None:
        for node in self._order:
            if node not in left:
                continue
            if node in self._cut:
                self._death[node] = min(self._death.get(node, NEVER), t + self._ramp)
                continue
            ends = [t]
            for edge in _edges(node):
                if edge.activity.last == 0.0:
                    ends.append(edge.activity.end_of_motion())
                elif edge.source in self._death:
                    ends.append(self._death[edge.source])
            tail_s = LONGEST_TAIL_S if _too_long(node) else SETTLED_TAILS * node.own_tail_s
            self._death[node] = max(ends) + math.ceil(node.own_latency + tail_s * self._rate_hz)

    def settle(self, t: int) -> None:
        """Close the edges of nodes whose end comes before or at t."""
        for node in [n for n in self._order if self._death.get(n, NEVER) <= t and n in self._death]:
            end = self._death.pop(node)
            self._cut.discard(node)
            self._hours[node].append((self._awake_since.pop(node), end))
            for edge in _edges(node):
                if edge.activity.last != 0.0:
                    edge.activity.move(end, 0, 0.0)
            fade = round(FADE_OUT_S * self._rate_hz) if _too_long(node) else 0
            for other in self._order:
                for edge in _edges(other):
                    if edge.source is node and edge.activity.last != 0.0:
                        edge.activity.move(end - fade, fade, 0.0)

    def finish(self) -> None:
        """Write down the waking hours."""
        for node in self._order:
            if node in self._awake_since:
                self._hours[node].append((self._awake_since[node], NEVER))
            node.awake = self._hours[node]


def _too_long(node: Node) -> bool:
    return node.own_tail_s > LONGEST_TAIL_S


def _starts_from_silence(node: Node) -> bool:
    return node.rings == "ring" and not (node.block_class is not None and node.block_class.generates)


def _edges(node: Node) -> list[Edge]:
    return [e for edges in node.ports.values() for e in edges]
