"""Which boxes can stand in for which: of equals only the first need be tried, of two the one that does more."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from chainsim.listen.sheets.carry_plan.inventory import Gear, Inventory, goals_of, weight

_AT_LEAST = ("at_once", "programs", "follows_tempo", "keeps_dry", "splits", "mixes", "loops", "pedal_inputs")
_EQUAL = ("width_mm", "depth_mm", "height_mm", "on_board", "power", "voltage_v", "current", "polarity")


def stand_ins(inventory: Inventory, boxes: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Every two boxes of which the first need not be carried without the second.

    The second does all that the first does and is no more of a burden; and it stands before it in the inventory, or is
    less of one: so that no better choice is lost, nor one that would be taken of equals.
    """
    gear, measures = inventory.gear, goals_of(inventory, "boxes")
    for h in boxes:
        for g in boxes:
            if g != h and _does_as_much(gear[g], gear[h]):
                less = any(weight(gear[g], by) < weight(gear[h], by) for by in measures)
                if g < h or less:
                    yield h, g


def _does_as_much(one: Gear, other: Gear) -> bool:
    return (
        set(other.makes) <= set(one.makes)
        and all(getattr(one, name) >= getattr(other, name) for name in _AT_LEAST)
        and all(getattr(one, name) == getattr(other, name) for name in _EQUAL)
        and one.latency_ms <= other.latency_ms
        and (one.current_ma or 0.0) <= (other.current_ma or 0.0)
        and all(weight(one, by) <= weight(other, by) for by in ("mass", "price"))
    )
