"""Who runs when, and which edges are open, for a sketch whose state changes during a render.

All cues are known before a render starts, so every ramp, every end of a tail, every sleep and every waking gets its
absolute sample here. The rules, for a change of state at sample t with ramps of R samples:

- An edge between nodes that stay is ramped.
- A node that is left and rings gets its input ramped to zero at once and stays connected until its tail has ended.
  A plain node (one without a tail worth hearing) that a ringing one feeds stays with it to the end.
- Other nodes that are left keep their inputs for R samples more, and what leads out of their group is ramped to zero.
- A node that is entered and rings, or whose tail is to be cut, starts from silence: its input is ramped up.
- Plain nodes that are entered together listen already some time before t, as devices on a board do, so that their
  detectors and latencies are filled; at t what leads out of their group is ramped up.
- A plain node that hears nothing before t, or something else until too short a time before it, is ramped up when its
  latency is filled.
- A node that is entered again while it rings goes on ringing.
"""

from __future__ import annotations

import itertools
import math

from chainsim.graph.activity import NEVER
from chainsim.graph.nodes import Edge, Node, Rings
from chainsim.graph.shelf import PlacedState

RAMP_S = 0.010
LISTENING_S = 0.250
"""How long before they are heard plain nodes run, beside their own latencies."""
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
        heard = set(order)  # under a mute that never ends nothing else is
        mine = heard & set().union(*(p.nodes for p in placed))
        for state in placed:
            state.nodes &= heard
            state.nodes |= {n for n in mine if n.kind == "control"}
        self._order = [n for n in order if n in mine]
        self._rate_hz = sample_rate_hz
        self._ramp = max(1, round(RAMP_S * sample_rate_hz))
        self._awake_since: dict[Node, int] = {}
        self._hours: dict[Node, list[tuple[int, int]]] = {n: [] for n in self._order}
        self._left_at: dict[Node, int] = {}
        self._death: dict[Node, int] = {}
        self._cut: set[Node] = set()
        self._rings: dict[Node, Rings] = {}
        self._filled: dict[Node, int] = {}

    def begin(self) -> None:
        first = self._placed[0]
        used = set(first.edges)
        for node in self._order:
            for edge in _edges(node):
                edge.activity.before = 1.0 if edge in used else 0.0
        for node in first.nodes:
            self._awake_since[node] = 0
        self._rings.update(first.rings)

    def change(self, before: PlacedState, after: PlacedState) -> None:
        """Apply one change of state."""
        t = after.start
        self.settle(t)
        new = {n for n in after.nodes if n not in self._awake_since}
        plain = {n for n in new if after.rings.get(n, "plain") == "plain"}
        for node in after.nodes:
            for kept in (self._death, self._left_at):
                kept.pop(node, None)
            self._cut.discard(node)
        early = t - math.ceil(sum(n.own_latency for n in plain)) - round(LISTENING_S * self._rate_hz)
        self._wake(t, early, new, plain)
        self._fill(early, plain, set(after.edges))
        wanted = set(after.edges)
        for node in self._order:
            for edge in _edges(node):
                if edge in wanted and edge.activity.last != 1.0:
                    self._open(edge, node, t, new, plain)
        left = {n for n in self._awake_since if n not in after.nodes}
        for node in left:
            self._left_at.setdefault(node, t)
        self._decide_cuts(left)
        for node in self._order:
            for edge in _edges(node):
                if edge not in wanted and edge.activity.last != 0.0 and self._falls_at_once(edge, node, left):
                    edge.activity.move(t, self._ramp, 0.0)
        self._set_deaths(t, left)
        self._rings.update(after.rings)

    def _wake(self, t: int, early: int, new: set[Node], listening: set[Node]) -> None:
        """Wake the new nodes, those that listen before they are heard with the settings they will then have."""
        for node in new:
            slept = self._hours[node][-1][1] if self._hours[node] else 0
            since = max(early, slept, 0) if node in listening else t
            self._awake_since[node] = since
            for motion in node.motions.values():
                motion.targets = [(since if start == t else start, value) for start, value in motion.targets]

    def _fill(self, early: int, plain: set[Node], wanted: set[Edge]) -> None:
        """Note when the latencies of nodes are filled that could not listen early enough.

        One that would have slept just until then goes on, and is filled if it goes on hearing the same.
        """
        self._filled = {}
        for node in self._order:
            if node in plain:
                since = self._awake_since[node]
                begun = [self._filled[e.source] for e in _edges(node) if e.source in self._filled]
                for edge in _edges(node):
                    begin = max(since, self._awake_since.get(edge.source, 0)) if edge in wanted else since
                    heard = edge.activity.at(begin - 1)
                    if begin > max(early, 0) and heard != (1.0 if edge in wanted else 0.0):
                        begun.append(begin)
                if begun:
                    self._filled[node] = max(begun) + math.ceil(node.own_latency)

    def _open(self, edge: Edge, node: Node, t: int, new: set[Node], plain: set[Node]) -> None:
        if node in plain:
            begin = max(self._awake_since[node], self._awake_since.get(edge.source, 0))
            edge.activity.move(min(begin, t), 0, 1.0)
        else:
            from_silence = edge.source in new and edge.source not in plain
            start = max(t, self._filled.get(edge.source, t))
            edge.activity.move(start, 0 if from_silence else self._ramp, 1.0)

    def _decide_cuts(self, left: set[Node]) -> None:
        for node in self._order:
            if node in left and node not in self._death:
                rings = self._rings.get(node, "plain")
                fed = any(
                    e.source in left and e.source not in self._cut and e.activity.last > 0.0 for e in _edges(node)
                )
                if rings == "cut" or (rings == "plain" and not fed):
                    self._cut.add(node)

    def _falls_at_once(self, edge: Edge, node: Node, left: set[Node]) -> bool:
        """Whether an edge that is no longer wanted is ramped now, rather than closed with one of its ends."""
        if edge.source in left:
            return edge.source in self._cut and node not in self._cut
        return node not in self._cut

    def _set_deaths(self, t: int, left: set[Node]) -> None:
        self._set_deaths_of_cut(t, left)
        for node in self._order:
            if node not in left or node in self._cut:
                continue
            ends = [self._left_at[node]]
            for edge in _edges(node):
                if edge.activity.last == 0.0:
                    ends.append(edge.activity.end_of_motion())
                elif edge.source in self._death:
                    ends.append(self._death[edge.source])
            tail_s = LONGEST_TAIL_S if _too_long(node) else SETTLED_TAILS * node.own_tail_s
            self._death[node] = max(ends) + math.ceil(node.own_latency + tail_s * self._rate_hz)

    def _set_deaths_of_cut(self, t: int, left: set[Node]) -> None:
        """A node that is cut ends a ramp after it was left, and not before what it feeds has ceased to hear it."""
        heard_until: dict[Node, int] = {}
        for node in reversed(self._order):
            if node in left and node in self._cut:
                end = max(self._death.get(node, t + self._ramp), heard_until.get(node, 0))
                self._death[node] = end
            for edge in _edges(node):
                if edge.activity.last == 0.0:
                    until = edge.activity.end_of_motion()
                else:
                    until = self._death[node] if node in left and node in self._cut else 0
                heard_until[edge.source] = max(heard_until.get(edge.source, 0), until)

    def settle(self, t: int) -> None:
        """Close the edges of nodes whose end comes before or at t."""
        for node in [n for n in self._order if n in self._death and self._death[n] <= t]:
            end = self._death.pop(node)
            self._cut.discard(node)
            self._left_at.pop(node, None)
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


def _edges(node: Node) -> list[Edge]:
    return [e for edges in node.ports.values() for e in edges]
