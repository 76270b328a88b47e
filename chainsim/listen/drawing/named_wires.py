"""Every wire of a chain that a probe can be put on: its name, and what runs there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from chainsim.listen.drawing.layout import OUT, TURNED, pan_words
from chainsim.listen.drawing.text_drawing import signed_level
from chainsim.sketch.chain import INPUT, BlenderStep, BlockStep, Chain, Lane, LanesStep
from chainsim.sketch.model import State
from chainsim.sketch.wire_names import Leg, aligned_name, before_pan_name, lane_name, leg_name, part_sum_name, sum_name


@dataclass(frozen=True)
class NamedWire:
    """A wire by one of its names.

    Attributes
    ----------
    name : str
    what : str
        What runs there, in a few words.
    same_as : str or None
        The wire of a drawing that this is another name of.
    """

    name: str
    what: str
    same_as: str | None = None


def named_wires(state: State) -> list[NamedWire]:
    """Name the wires of a state in the order of the sound's way, each once.

    "out" is there only behind a trim, as in drawings: it is what a render gives, and needs no probe.
    """
    walk = _Walk(state)
    wires = [NamedWire(INPUT, "the horn, as it comes"), *walk.series(state.chain)]
    if state.trim_db != 0.0:
        wires.append(NamedWire(OUT, f"to the house, trimmed by {signed_level(state.trim_db)}: what a render gives"))
    return wires


class _Walk:
    """Follows the chain; `here` is the wire that it has come to."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._here = INPUT

    def series(self, chain: Chain) -> Iterator[NamedWire]:
        for step in chain:
            if isinstance(step, BlockStep):
                yield self._block(step.name)
            elif isinstance(step, LanesStep):
                yield from self._lanes(step)
            else:
                yield from self._blender(step)

    def _block(self, name: str) -> NamedWire:
        entry = self._state.blocks[name]
        kind = entry.type_name.replace("_", " ")
        if not entry.common.engaged and entry.passes:
            return NamedWire(name, f"as {self._here}: {kind}, out of the chain", self._here)
        self._here = name
        return NamedWire(name, kind if entry.common.engaged else f"silent: {kind}, out of the chain")

    def _lanes(self, step: LanesStep) -> Iterator[NamedWire]:
        fork, begins = step.number, self._here
        for lane in step.lanes:
            self._here = begins
            yield from self.series(lane.chain)
            yield from self._lane(fork, lane)
        if step.align:
            for lane in step.lanes:
                name = lane_name(fork, lane.number)
                yield NamedWire(aligned_name(fork, lane.number), f"{name}, in time with the latest lane")
        for i in range(len(step.lanes) - 2, 0, -1):
            yield NamedWire(part_sum_name(fork, step.lanes[i].number), _together(fork, step.lanes[i:]))
        self._here = sum_name(fork)
        yield NamedWire(self._here, _together(fork, step.lanes))

    def _lane(self, fork: int, lane: Lane) -> Iterator[NamedWire]:
        name = lane_name(fork, lane.number)
        if lane.level_db == -math.inf:
            names = [name] if lane.pan is None else [before_pan_name(fork, lane.number), name]
            yield from (NamedWire(each, "silent: its level is off") for each in names)
        elif lane.pan is None:
            same = self._here if lane.level_db == 0.0 else None
            yield NamedWire(name, f"as {same}" if same else f"{self._here}, {signed_level(lane.level_db)}", same)
        else:
            if lane.level_db != 0.0:
                levelled = before_pan_name(fork, lane.number)
                yield NamedWire(levelled, f"{self._here}, {signed_level(lane.level_db)}")
                self._here = levelled
            yield NamedWire(name, f"{self._here}, panned: {pan_words(lane.pan)}")

    def _blender(self, step: BlenderStep) -> Iterator[NamedWire]:
        begins = self._here
        if not self._state.blocks[step.name].common.engaged:
            yield from self.series(step.wet)
            self._here = begins
            yield NamedWire(step.name, f"as {begins}: blender, out of the chain", begins)
            return
        yield self._leg(step.name, "dry")
        yield from self.series(step.wet)
        yield self._leg(step.name, "wet")
        self._here = step.name
        yield NamedWire(step.name, f"{leg_name(step.name, 'dry')} and {leg_name(step.name, 'wet')} together")

    def _leg(self, blender: str, leg: Leg) -> NamedWire:
        settings = self._state.blocks[blender].settings
        level = signed_level(getattr(settings, f"{leg}_db"))
        turned = ", polarity turned" if leg == "wet" and getattr(settings, TURNED) else ""
        return NamedWire(leg_name(blender, leg), f"{self._here}, {level}{turned}")


def _together(fork: int, lanes: Sequence[Lane]) -> str:
    first, last = lanes[0].number, lanes[-1].number
    if len(lanes) == 1:
        return f"{lane_name(fork, first)} alone"
    return f"lanes {fork}.{first} {'and' if len(lanes) == 2 else 'to'} {fork}.{last} together"
