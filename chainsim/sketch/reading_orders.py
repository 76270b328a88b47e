"""Reading `[orders]`: the rules for trying other orders of the blocks."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from chainsim.errors import nearest
from chainsim.sketch.ordering import OrderRules, OrderSettings
from chainsim.sketch.reading import read_settings


def read_orders(table: object, in_chains: Collection[str], faults: list[str]) -> OrderRules:
    """Check `[orders]` against the blocks that stand in some chain; no rules where there is none."""
    if table is None:
        return OrderRules()
    if not isinstance(table, dict):
        faults.append('orders: allowed a table, such as [orders] with first = ["gate"]')
        return OrderRules()
    each = {key: read_settings(OrderSettings, {key: value}, "orders", faults) for key, value in table.items()}
    says = OrderSettings(**{key: getattr(one, key) for key, one in each.items() if one is not None})
    for name in ("move", "first", "last"):
        _check(getattr(says, name), f"orders.{name}", in_chains, faults)
    for name in ("before", "together", "side_by_side"):
        for i, names in enumerate(getattr(says, name)):
            place = f"orders.{name}[{i}]"
            _check(names, place, in_chains, faults)
            if name == "before" and len(names) != 2:
                faults.append(f"{place}: {len(names)} names, allowed two: the first comes before the second")
            elif len(names) < 2:
                faults.append(f"{place}: {_count(names)}, allowed two or more")
    if len(says.move) == 1:
        faults.append(f"orders.move: {_count(says.move)}, allowed two or more, or none for the whole chain")
    if any(len(pair) != 2 for pair in says.before):
        return OrderRules()
    return OrderRules(
        move=tuple(says.move),
        first=tuple(says.first),
        last=tuple(says.last),
        before=tuple((first, second) for first, second in says.before),
        together=tuple(map(tuple, says.together)),
        side_by_side=tuple(map(tuple, says.side_by_side)),
    )


def _check(names: Sequence[str], place: str, in_chains: Collection[str], faults: list[str]) -> None:
    for name in dict.fromkeys(names):
        if name not in in_chains:
            faults.append(f'{place}: "{name}" is in no chain{nearest(name, in_chains)}')
        elif names.count(name) > 1:
            faults.append(f'{place}: "{name}" stands there {names.count(name)} times')


def _count(names: Sequence[str]) -> str:
    return f'only "{names[0]}"' if names else "no names"
