"""How a chain's blocks stand to each other beside those of another chain of the same kinds, in words."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, Lane, LanesStep, pruned
from chainsim.sketch.model import State


def wiring_beside(state: State, first: State, *, but: Collection[str] = ()) -> str:
    """What is wired otherwise: "another order", "side by side", "in series", "lanes otherwise set".

    Parameters
    ----------
    state, first : State
        Both with as many engaged blocks of each kind.
    but : collection of str
        Kinds of block that do not count.

    Returns
    -------
    str
        Empty if both are wired alike. Which lane of a fork is written first makes no difference.
    """
    own, others = _counting(state, but), _counting(first, but)
    if _spelled(own, state) == _spelled(others, first):
        alike = _spelled(own, state, levels=True) == _spelled(others, first, levels=True)
        return "" if alike else "lanes otherwise set"
    for more, fewer, count in zip(
        ("side by side", "with the dry horn beside"),
        ("in series", "without the dry horn beside"),
        (_abreast(own) - _abreast(others), _dry(own) - _dry(others)),
        strict=True,
    ):
        if count:
            return more if count > 0 else fewer
    return "another order"


def _counting(state: State, but: Collection[str]) -> Chain:
    """The chain of the engaged blocks that count."""
    engaged = pruned(state.chain, state.engaged)
    return _without(engaged, {name for name in state.engaged if state.blocks[name].type_name in but})


def _without(chain: Chain, names: Collection[str]) -> Chain:
    """Without these blocks; a lane of nothing else is a straight one."""
    steps = []
    for step in chain:
        if isinstance(step, LanesStep):
            step = replace(step, lanes=tuple(replace(lane, chain=_without(lane.chain, names)) for lane in step.lanes))
        elif isinstance(step, BlenderStep):
            step = replace(step, wet=_without(step.wet, names))
        elif step.name in names:
            continue
        steps.append(step)
    return tuple(steps)


def _spelled(chain: Chain, state: State, *, levels: bool = False) -> str:
    return " ".join(filter(None, _steps_spelled(chain, state, levels)))


def _steps_spelled(chain: Chain, state: State, levels: bool) -> Iterator[str]:
    for step in chain:
        if isinstance(step, BlockStep):
            yield state.blocks[step.name].type_name
        elif isinstance(step, BlenderStep):
            yield f"<{_spelled(step.wet, state, levels=levels)}>"
        else:
            lanes = sorted(_lane_spelled(lane, state, levels) for lane in step.lanes)
            fork = f"[{' | '.join(lanes)}]" if levels or len(lanes) > 1 else lanes[0]
            yield f"{fork} aligned" if levels and step.align else fork


def _lane_spelled(lane: Lane, state: State, levels: bool) -> str:
    inner = _spelled(lane.chain, state, levels=levels)
    return f"{inner} at {lane.level_db} dB, {lane.pan}" if levels else inner


def _abreast(chain: Chain) -> int:
    """How many chains more than one sound at once."""
    return sum(max(0, sum(bool(lane.chain) for lane in fork.lanes) - 1) for fork in _forks(chain))


def _dry(chain: Chain) -> int:
    """How many straight lanes there are."""
    return sum(not lane.chain for fork in _forks(chain) for lane in fork.lanes)


def _forks(chain: Chain) -> Iterator[LanesStep]:
    for step in chain:
        if isinstance(step, LanesStep):
            yield step
            for lane in step.lanes:
                yield from _forks(lane.chain)
        elif isinstance(step, BlenderStep):
            yield LanesStep((Lane(()), Lane(step.wet)))
            yield from _forks(step.wet)
