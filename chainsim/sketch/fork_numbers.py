"""Numbers of forks, by which their wires are called: in every chain of a sketch a fork has the same.

Forks are counted as the sound reaches their sums, a fork in a lane before the one around it. A fork of another chain is
the same if its lanes hold the same blocks in the same order, whatever their levels and pans.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import replace

from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, LanesStep, Step

Shape = tuple[Hashable, ...]


def numbered(chain: Chain, others: Iterable[Chain] = ()) -> Chain:
    """Number the forks of a chain and their lanes; `others` are numbered already."""
    known: dict[Shape, list[int]] = {}
    for fork in (fork for other in others for fork in _forks(other)):
        numbers = known.setdefault(_shape((fork,)), [])
        numbers += [] if fork.number in numbers else [fork.number]
    return _Numbering(known).series(chain)


class _Numbering:
    """Gives each fork a number of its shape that no fork of this chain has yet, or else a new one."""

    def __init__(self, known: dict[Shape, list[int]]) -> None:
        self._left = known
        self._greatest = max((number for numbers in known.values() for number in numbers), default=0)

    def series(self, chain: Chain) -> Chain:
        return tuple(map(self._step, chain))

    def _step(self, step: Step) -> Step:
        if isinstance(step, BlenderStep):
            return replace(step, wet=self.series(step.wet))
        if isinstance(step, BlockStep):
            return step
        lanes = tuple(
            replace(lane, chain=self.series(lane.chain), number=i) for i, lane in enumerate(step.lanes, start=1)
        )
        same = self._left.get(_shape((step,)))
        if same:
            return replace(step, lanes=lanes, number=same.pop(0))
        self._greatest += 1
        return replace(step, lanes=lanes, number=self._greatest)


def _forks(chain: Chain) -> Iterator[LanesStep]:
    for step in chain:
        if isinstance(step, BlenderStep):
            yield from _forks(step.wet)
        elif isinstance(step, LanesStep):
            for lane in step.lanes:
                yield from _forks(lane.chain)
            yield step


def _shape(chain: Chain) -> Shape:
    """What a chain holds, without the levels and pans of lanes."""
    return tuple(map(_step_shape, chain))


def _step_shape(step: Step) -> Hashable:
    if isinstance(step, BlockStep):
        return step.name
    if isinstance(step, BlenderStep):
        return (step.name, _shape(step.wet))
    return tuple(_shape(lane.chain) for lane in step.lanes)
