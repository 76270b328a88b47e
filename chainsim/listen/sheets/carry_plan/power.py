"""Which outlet feeds which box: each box has one of its own, of its voltage, kind and polarity, strong enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chainsim.listen.sheets.carry_plan.inventory import Gear, Outlet, Supply, feeds, name_of, plug_text


@dataclass(frozen=True)
class Feed:
    """An outlet and the box it feeds."""

    supply: str
    outlet: int
    box: str
    voltage_v: float
    current: str
    polarity: str
    draws_ma: float
    gives_ma: float


def feeds_of(boxes: Sequence[Gear], supplies: Sequence[Supply]) -> tuple[tuple[Feed, ...], tuple[Gear, ...]]:
    """Feed as many boxes as can be, each from the outlet that has least current to spare.

    An assignment problem, solved exactly by `scipy.optimize.linear_sum_assignment`.

    Returns
    -------
    feeds : tuple of Feed
        In the order of the boxes; outlets of a supply are counted from 1.
    unfed : tuple of Gear
        Boxes for which no outlet is left.
    """
    from scipy.optimize import linear_sum_assignment

    hungry = [box for box in boxes if box.power == "outlet"]
    outlets = [(supply, number, outlet) for supply in supplies for number, outlet in enumerate(_single(supply), 1)]
    if not hungry or not outlets:
        return (), tuple(hungry)
    fits = np.array([[feeds(outlet, box) for _, _, outlet in outlets] for box in hungry])
    spare = np.array([[_ma(outlet) - _ma(box) for _, _, outlet in outlets] for box in hungry])
    none = 1.0 + len(hungry) * (np.abs(spare).max() + 1.0)  # a box more that is fed is worth any spare current
    rows, columns = linear_sum_assignment(np.where(fits, spare, none))
    chosen = {int(i): int(k) for i, k in zip(rows, columns, strict=True) if fits[i, k]}
    found = []
    for i, k in sorted(chosen.items()):
        box, (supply, number, outlet) = hungry[i], outlets[k]
        volts = box.voltage_v or 0.0
        found.append(
            Feed(name_of(supply), number, name_of(box), volts, box.current, plug_text(box), _ma(box), _ma(outlet))
        )
    return tuple(found), tuple(box for i, box in enumerate(hungry) if i not in chosen)


def _single(supply: Supply) -> list[Outlet]:
    return [outlet for outlet in supply.outlets for _ in range(outlet.count)]


def _ma(item: Gear | Outlet) -> float:
    return item.current_ma or 0.0
