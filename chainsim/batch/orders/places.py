"""Where the units of orders stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.errors import SettingError

Arrangement: TypeAlias = Sequence[str | tuple[str, ...]]
"""Units in series; those in a tuple stand in lanes next to each other."""


@dataclass(frozen=True)
class Places:
    """Where the units stand in each of some orders.

    Attributes
    ----------
    units : tuple of str
        As the first order has them.
    before : ndarray of int, shape (orders, units)
        How many units stand before it, counted from the input; of units beside each other none is before the others.
    """

    units: tuple[str, ...]
    before: npt.NDArray[np.int64]


def places_of(orders: Sequence[Arrangement]) -> Places:
    """Number the places of units.

    Raises
    ------
    SettingError
        If there is no order, or two are not made of the same units, each of them once.
    """
    if not orders:
        raise SettingError("orders: none, at least one is needed")
    units = tuple(_flat(orders[0]))
    before = np.empty((len(orders), len(units)), dtype=np.int64)
    for i, order in enumerate(orders):
        count = {unit: len(_flat(order[:r])) for r, step in enumerate(order) for unit in _flat([step])}
        if not len(_flat(order)) == len(units) == len(count) or count.keys() != set(units):
            raise SettingError(f"orders: [{i}] is made of {_flat(order)}, not of {list(units)}, each once")
        before[i] = [count[unit] for unit in units]
    return Places(units, before)


def _flat(order: Arrangement) -> list[str]:
    return [unit for step in order for unit in ((step,) if isinstance(step, str) else step)]
