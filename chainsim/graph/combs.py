"""Combs: copies of one sound that meet, one later than the other.

Two equally loud copies that differ by t cancel each other at 1 / (2 t) and its odd multiples.

Sounds of different origin form no comb, however late one of them is: a voice that a block makes at another pitch is a
sound of its own, and of a horn shifted like that only what has no pitch may be a copy.
"""

from __future__ import annotations

from collections.abc import Callable

from chainsim.block import Copies
from chainsim.graph.nodes import Edge, Node
from chainsim.graph.shelf import PlacedState

LEAST_SAMPLES = 0.5

Origins = frozenset[Node]


def set_origins(node: Node, paths: list[Edge]) -> None:
    """Find whose sound a node passes on; `paths` are the edges of its audio ports."""
    whole = Origins().union(*(e.source.origins for e in paths))
    rest = Origins().union(*(e.source.rest_origins for e in paths))
    copies = _copies(node)
    node.origins = whole if copies == "all" else Origins([node])
    node.rest_origins = Origins() if copies == "nothing" else whole | rest


UNSHIFTED = ", in what passes unshifted alone: tongue, breath, keys, too low notes"


def find_comb(node: Node, paths: list[Edge], placed: list[PlacedState], rate_hz: float) -> str | None:
    """One line for a comb that forms where a node's paths meet, in one of its states; None if there is none."""
    if node.kind != "junction" and len([p for p in node.ports if p != "detector"]) < 2:
        return None
    meeting = [[e for e in paths if e in state.edges] for state in placed if node in state.nodes]
    for origins, where in (
        (_whole, ""),
        (_whole_or_rest, UNSHIFTED),
    ):
        gap_s = max((_gap(edges, origins) for edges in meeting), default=0.0) / rate_hz
        if gap_s * rate_hz >= LEAST_SAMPLES:
            cure = "; align = true beside these lanes ends it" if node.kind == "junction" and not node.align else ""
            return (
                f"{node.name}: paths that meet here differ by {1000 * gap_s:.2f} ms;"
                f" a comb with its first notch at {0.5 / gap_s:.0f} Hz{where}{cure}"
            )
    return None


def _whole(edge: Edge) -> Origins:
    return edge.source.origins


def _whole_or_rest(edge: Edge) -> Origins:
    return edge.source.origins | edge.source.rest_origins


def _copies(node: Node) -> Copies:
    if node.kind == "take":
        return "nothing"
    if node.block_class is None:
        return "all"
    return node.block_class.copies(node.settings, {name: m.extremes() for name, m in node.motions.items()})


def _gap(paths: list[Edge], origins: Callable[[Edge], Origins]) -> float:
    """By how many samples paths of one sound differ; what differs inside one of them was told where it met."""
    met = Origins().union(*map(origins, paths))
    return max((_spread([e.source.latency for e in paths if one in origins(e)]) for one in met), default=0.0)


def _spread(latencies: list[tuple[float, float]]) -> float:
    """From the least to the greatest, or 0 if all have the same least."""
    first = min(least for least, _ in latencies)
    return max(most for _, most in latencies) - first if max(least for least, _ in latencies) > first else 0.0
