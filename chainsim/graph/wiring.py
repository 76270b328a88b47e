"""One state's chain as equations: which signal each port hears, before any node exists.

A disengaged block is simply not there: the wire goes around it, or ends before it. Signals are values, so equal
wirings compare equal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TypeAlias

from chainsim.block import block_type
from chainsim.sketch.chain import INPUT, BlenderStep, BlockStep, Chain, LanesStep
from chainsim.sketch.model import State
from chainsim.sketch.wire_names import Leg, aligned_name, before_pan_name, lane_name, leg_name, part_sum_name, sum_name
from chainsim.units import db_to_gain


@dataclass(frozen=True)
class Input:
    """The take."""


@dataclass(frozen=True)
class After:
    """What comes out of a block."""

    block: str


@dataclass(frozen=True)
class Levelled:
    """What a blender sums: one of its paths, behind the level that it gives it."""

    block: str
    leg: Leg


@dataclass(frozen=True)
class Silence:
    """Nothing."""


@dataclass(frozen=True)
class Term:
    """One summand of a fork: a signal, its gain and, if given, its pan."""

    signal: Signal
    gain: float = 1.0
    pan: float | None = None


@dataclass(frozen=True)
class Sum:
    """Lanes meeting; summed in declared order."""

    terms: tuple[Term, ...]
    align: bool = False


@dataclass(frozen=True)
class PartSum:
    """Some summands of a fork, from `first` on and before `end`; if it aligns them, in time with the latest of all."""

    whole: Sum
    first: int
    end: int


Signal: TypeAlias = Input | After | Levelled | Silence | Sum | PartSum


@dataclass
class Wiring:
    """All equations of one state.

    Attributes
    ----------
    ports : dict of dict of Signal
        For each engaged block, what each audio port and, under "detector", its detector hears.
    points : dict of Signal
        What is heard just after each block of the chain, engaged or not, and on every wire of a fork or a blender, by
        the names of `wire_names`.
    out : Signal
        What the chain gives.
    """

    ports: dict[str, dict[str, Signal]] = field(default_factory=dict)
    points: dict[str, Signal] = field(default_factory=dict)
    out: Signal = field(default_factory=Input)


def wire(state: State) -> Wiring:
    """Turn a state's series-parallel tree into equations."""
    wiring = Wiring()
    wiring.out = _series(state.chain, Input(), state, wiring)
    for name, ports in wiring.ports.items():
        entry = state.blocks[name]
        if block_type(entry.type_name).has_detector:
            heard = entry.common.listens_to
            first = ports[block_type(entry.type_name).audio_inputs[0]]
            ports["detector"] = first if heard is None else heard_at(heard, wiring)
    return wiring


def heard_at(name: str, wiring: Wiring) -> Signal:
    """What is heard at "input", behind a block or at another of `points`; silence where the chain has no such point."""
    return Input() if name == INPUT else wiring.points.get(name, Silence())


def blocks_behind(signal: Signal) -> set[str]:
    """The blocks whose outputs, or paths, a signal is made of."""
    if isinstance(signal, After | Levelled):
        return {signal.block}
    terms = signal.whole.terms if isinstance(signal, PartSum) else signal.terms if isinstance(signal, Sum) else ()
    return set().union(*(blocks_behind(term.signal) for term in terms))


def _series(chain: Chain, signal: Signal, state: State, wiring: Wiring) -> Signal:
    for step in chain:
        if isinstance(step, BlockStep):
            signal = _block(step.name, signal, state, wiring)
        elif isinstance(step, LanesStep):
            signal = _lanes(step, signal, state, wiring)
        else:
            signal = _blender(step, signal, state, wiring)
    return signal


def _block(name: str, signal: Signal, state: State, wiring: Wiring) -> Signal:
    entry = state.blocks[name]
    if entry.common.engaged:
        cls = block_type(entry.type_name)
        wiring.ports[name] = {cls.audio_inputs[0]: signal}
        signal = After(name)
    elif not entry.passes:
        signal = Silence()
    wiring.points[name] = signal
    return signal


def _lanes(step: LanesStep, signal: Signal, state: State, wiring: Wiring) -> Signal:
    heard = [_series(lane.chain, signal, state, wiring) for lane in step.lanes]
    fork = step.number
    terms = [
        None if lane.level_db == -math.inf else Term(end, db_to_gain(lane.level_db), lane.pan)
        for lane, end in zip(step.lanes, heard, strict=True)
    ]
    whole = Sum(tuple(term for term in terms if term is not None), step.align)
    before = 0
    lower: dict[str, Signal] = {}
    for lane, term in zip(step.lanes, terms, strict=True):
        i = lane.number
        if lane.level_db != 0.0 and lane.pan is not None:
            wiring.points[before_pan_name(fork, i)] = _alone(term and Term(term.signal, term.gain))
        wiring.points[lane_name(fork, i)] = _alone(term)
        if step.align:
            wiring.points[aligned_name(fork, i)] = _part(whole, before, before + (term is not None))
        if step.lanes[0].number < i < step.lanes[-1].number:
            lower[part_sum_name(fork, i)] = _part(whole, before, len(whole.terms))
        before += term is not None
    wiring.points |= lower | {sum_name(fork): whole}
    return whole


def _part(whole: Sum, first: int, end: int) -> Signal:
    return PartSum(whole, first, end) if first < end else Silence()


def _alone(term: Term | None) -> Signal:
    """A lane that is not summed with others."""
    if term is None:
        return Silence()
    return term.signal if term == Term(term.signal) else Sum((term,))


def _blender(step: BlenderStep, signal: Signal, state: State, wiring: Wiring) -> Signal:
    engaged = state.blocks[step.name].common.engaged
    if engaged:
        wiring.points[leg_name(step.name, "dry")] = Levelled(step.name, "dry")
    wet = _series(step.wet, signal, state, wiring)
    if engaged:
        wiring.ports[step.name] = {"dry": signal, "wet": wet}
        wiring.points[leg_name(step.name, "wet")] = Levelled(step.name, "wet")
        wiring.points[step.name] = After(step.name)
    else:
        wiring.points[step.name] = signal
    return wiring.points[step.name]
