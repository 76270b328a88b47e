"""Patches with another chain: which boxes stand at another place there, so that they need loops of a switching box."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from chainsim.sketch.chain import BlenderStep, BlockStep, Chain, LanesStep, block_names
from chainsim.sketch.model import Sketch

MOST_SEARCHED = 16
"""Of so many boxes that change places the fewest are looked for; of more, all count as moved."""

Order = Literal["before", "beside"]
_Orders = dict[tuple[str, str], Order]


@dataclass(frozen=True)
class ChainChange:
    """What another chain asks of the cabling.

    Attributes
    ----------
    patches : tuple of str
    moved : tuple of str
        Boxes that stand to others as they do not in the chain as written: as few as explain it, and where several are
        as good an explanation, all of these.
    only_there : tuple of str
        Boxes that the chain as written does not have.
    left_out : tuple of str
        Boxes that this chain does not have.
    chain : Chain
    """

    patches: tuple[str, ...]
    moved: tuple[str, ...]
    only_there: tuple[str, ...]
    left_out: tuple[str, ...]
    chain: Chain

    @property
    def loops(self) -> tuple[str, ...]:
        """Boxes that a switching box has to have in loops of their own."""
        return (*self.moved, *self.only_there)


def chain_changes(sketch: Sketch) -> tuple[ChainChange, ...]:
    """Every other chain that patches have, with those patches."""
    by_chain: dict[Chain, list[str]] = {}
    for name, patch in sketch.patches.items():
        if patch.state.chain != sketch.base.chain:
            by_chain.setdefault(patch.state.chain, []).append(name)
    return tuple(_change(sketch.base.chain, chain, tuple(patches)) for chain, patches in by_chain.items())


def _change(written: Chain, chain: Chain, patches: tuple[str, ...]) -> ChainChange:
    before, now = list(block_names(written)), list(block_names(chain))
    return ChainChange(
        patches=patches,
        moved=_moved(_orders(written), _orders(chain), [n for n in before if n in now]),
        only_there=tuple(n for n in now if n not in before),
        left_out=tuple(n for n in before if n not in now),
        chain=chain,
    )


def _moved(
    written: Mapping[tuple[str, str], Order], now: Mapping[tuple[str, str], Order], both: list[str]
) -> tuple[str, ...]:
    """All smallest sets of boxes without which the others stand to each other as written (vertex covers), together."""
    pairs = [(a, b) for a in both for b in both if a != b]
    differ = {frozenset(pair) for pair in pairs if written.get(pair) != now.get(pair)}
    involved = [name for name in both if any(name in pair for pair in differ)]
    if len(involved) > MOST_SEARCHED:
        return tuple(involved)
    for size in range(len(involved) + 1):
        ways = [set(few) for few in itertools.combinations(involved, size) if all(pair & set(few) for pair in differ)]
        if ways:
            together = set().union(*ways)
            return tuple(name for name in involved if name in together)
    return ()


def _orders(chain: Chain) -> _Orders:
    """How every two blocks stand to each other: (a, b) "before" if the signal goes from a to b, "beside" both ways."""
    orders: _Orders = {}
    _series(chain, orders)
    return orders


def _series(chain: Chain, orders: _Orders) -> list[str]:
    names: list[str] = []
    for step in chain:
        added = [step.name] if isinstance(step, BlockStep) else _fork(step, orders)
        orders.update({(a, b): "before" for a in names for b in added})
        names += added
    return names


def _fork(step: LanesStep | BlenderStep, orders: _Orders) -> list[str]:
    if isinstance(step, BlenderStep):
        wet = _series(step.wet, orders)
        orders.update({(name, step.name): "before" for name in wet})
        return [*wet, step.name]
    lanes = [_series(lane.chain, orders) for lane in step.lanes]
    for one, other in itertools.permutations(lanes, 2):
        orders.update({(a, b): "beside" for a in one for b in other})
    return list(itertools.chain.from_iterable(lanes))
