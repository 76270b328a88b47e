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
from chainsim.units import db_to_gain


@dataclass(frozen=True)
class Input:
    """The take."""


@dataclass(frozen=True)
class After:
    """What comes out of a block."""

    block: str


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


Signal: TypeAlias = Input | After | Silence | Sum


@dataclass
class Wiring:
    """All equations of one state.

    Attributes
    ----------
    ports : dict of dict of Signal
        For each engaged block, what each audio port and, under "detector", its detector hears.
    points : dict of Signal
        What is heard just after each block of the chain, engaged or not; at "sum 1" what the first fork of lanes gives,
        counted as the sound reaches their sums, a fork in a lane before the one around it; and at "lane 1.2" its second
        lane, after level and pan.
    out : Signal
        What the chain gives.
    forks : int
        How many forks of lanes there are.
    """

    ports: dict[str, dict[str, Signal]] = field(default_factory=dict)
    points: dict[str, Signal] = field(default_factory=dict)
    out: Signal = field(default_factory=Input)
    forks: int = 0


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
    lanes, terms = [], []
    for lane in step.lanes:
        heard: Signal = _series(lane.chain, signal, state, wiring)
        if lane.level_db == -math.inf:
            heard = Silence()
        else:
            terms.append(Term(heard, db_to_gain(lane.level_db), lane.pan))
            heard = heard if terms[-1] == Term(heard) else Sum((terms[-1],))
        lanes.append(heard)
    wiring.forks += 1
    wiring.points |= {f"lane {wiring.forks}.{i}": heard for i, heard in enumerate(lanes, start=1)}
    found = Sum(tuple(terms), step.align)
    wiring.points[f"sum {wiring.forks}"] = found
    return found


def _blender(step: BlenderStep, signal: Signal, state: State, wiring: Wiring) -> Signal:
    wet = _series(step.wet, signal, state, wiring)
    if state.blocks[step.name].common.engaged:
        wiring.ports[step.name] = {"dry": signal, "wet": wet}
        wiring.points[step.name] = After(step.name)
    else:
        wiring.points[step.name] = signal
    return wiring.points[step.name]
