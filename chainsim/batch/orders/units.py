"""What moves as a whole when orders are tried: the steps of one chain, a fork being one of them."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, LanesStep, Step, block_names
from chainsim.sketch.model import State


@dataclass(frozen=True)
class Unit:
    """One step of a chain.

    Attributes
    ----------
    name : str
        Of a block, or of a fork's blender; lanes are named by what is in them, "echo | plate".
    step : Step
    blocks : frozenset of str
        Any of them names it in rules.
    engaged : bool
        Whether anything in it does something.
    """

    name: str
    step: Step
    blocks: frozenset[str]
    engaged: bool


@dataclass(frozen=True)
class Series:
    """The whole chain of a state, or one that stands in a lane or behind a blender.

    Attributes
    ----------
    state : State
    way : tuple of (step, inner chain)
        How it is reached from the whole chain.
    units : tuple of Unit
    """

    state: State
    way: tuple[tuple[int, int], ...]
    units: tuple[Unit, ...]

    @classmethod
    def holding(cls, state: State, names: Collection[str]) -> Series:
        """The innermost chain that holds all these blocks; without any the whole chain."""
        chain, way = state.chain, []
        while names:
            inner = ((i, j, c) for i, step in enumerate(chain) for j, c in enumerate(inner_chains(step)))
            place = next(((i, j, c) for i, j, c in inner if set(names) <= set(block_names(c))), None)
            if place is None:
                break
            way.append(place[:2])
            chain = place[2]
        return cls(state, tuple(way), tuple(_unit(step, state) for step in chain))

    def place_of(self, block: str) -> int | None:
        """Which unit a block is, or is in."""
        return next((i for i, unit in enumerate(self.units) if block in unit.blocks), None)

    def chain_with(self, steps: Chain) -> Chain:
        """The state's whole chain with other steps in this place."""
        return _replaced(self.state.chain, self.way, steps)


def inner_chains(step: Step) -> tuple[Chain, ...]:
    """The chains that a fork holds."""
    if isinstance(step, LanesStep):
        return tuple(lane.chain for lane in step.lanes)
    return (step.wet,) if isinstance(step, BlenderStep) else ()


def bracketed(name: str) -> str:
    """A name as it stands among others, so that one of several blocks is seen to be one: "[echo | plate]"."""
    return f"[{name}]" if " | " in name or " > " in name else name


def _unit(step: Step, state: State) -> Unit:
    blocks = frozenset(block_names((step,)))
    passes = isinstance(step, BlenderStep) and not state.blocks[step.name].common.engaged
    engaged = not passes and any(state.blocks[name].common.engaged for name in blocks)
    return Unit(_name(step), step, blocks, engaged)


def _name(step: Step) -> str:
    if isinstance(step, BlockStep | BlenderStep):
        return step.name
    return " | ".join(" > ".join(_names(lane.chain)) for lane in step.lanes if any(block_names(lane.chain)))


def _names(chain: Chain) -> Iterator[str]:
    for step in chain:
        if name := _name(step):
            yield bracketed(name)


def _replaced(chain: Chain, way: tuple[tuple[int, int], ...], steps: Chain) -> Chain:
    if not way:
        return steps
    (i, j), inner_way = way[0], way[1:]
    step = chain[i]
    inner = _replaced(inner_chains(step)[j], inner_way, steps)
    if isinstance(step, BlenderStep):
        step = replace(step, wet=inner)
    elif isinstance(step, LanesStep):
        step = replace(step, lanes=(*step.lanes[:j], replace(step.lanes[j], chain=inner), *step.lanes[j + 1 :]))
    return (*chain[:i], step, *chain[i + 1 :])
