"""Which blocks can share one pitch track in a sketch whose state changes: those that hear the same in every state."""

from __future__ import annotations

from collections.abc import Iterable

from chainsim.block import block_type
from chainsim.graph.nodes import Node
from chainsim.graph.shelf import PlacedState
from chainsim.graph.wiring import Signal, wire
from chainsim.sketch.model import State


def shared_ears(states: Iterable[State]) -> dict[str, str]:
    """The block whose pitch track each block follows, by name: its own, or that of the first which hears the same.

    A block that hears one thing in one state and another in the next has an ear of its own.
    """
    heard: dict[str, list[Signal]] = {}
    for state in states:
        for name, ports in wire(state).ports.items():
            entry = state.blocks[name]
            if "pitch" in block_type(entry.type_name).controls_for(entry.settings):
                signals = heard.setdefault(name, [])
                signals += [ports["detector"]] if ports["detector"] not in signals else []
    ears: dict[str, str] = {}
    for name, signals in heard.items():
        alike = (other for other in ears if len(signals) == 1 and heard[other] == signals)
        ears[name] = next(alike, name)
    return ears


def listen_on(trackers: Iterable[Node], placed: Iterable[PlacedState]) -> None:
    """Let a pitch track that has one source hear it also in states in which nothing follows the pitch."""
    for node in trackers:
        if len(node.ports["in"]) == 1:
            (ear,) = node.ports["in"]
            for state in placed:
                if ear.source in state.nodes and ear not in state.edges:
                    state.edges.append(ear)
