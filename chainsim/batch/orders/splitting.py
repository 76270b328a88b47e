"""Orders split into tasks where they part: common beginnings are computed once, and memory is bounded."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.batch.orders.places import Arrangement

MOST_AT_ONCE, LEAST_TOGETHER = 240, 24
"""Orders in work on one machine: each holds the states of its blocks and meters, some megabytes."""


def most_together(tasks_at_once: int) -> int:
    """How many orders one task may hold where so many tasks run at once."""
    return max(LEAST_TOGETHER, MOST_AT_ONCE // max(tasks_at_once, 2))


def split_by_beginning(orders: Sequence[Arrangement], most: int) -> list[list[int]]:
    """Which orders are rendered together.

    Two tasks have no beginning in common but what all orders begin with, as long as none holds more than `most`
    orders; larger ones are split at the place where their orders part next.

    Parameters
    ----------
    orders : sequence of arrangements
        Units in series, all of them of the same length or shorter.
    most : int >= 1

    Returns
    -------
    list of list of int
        Every order is in one of them.
    """
    parts: list[list[int]] = []
    waiting = [(list(range(len(orders))), 0, True)]
    while waiting:
        members, depth, whole = waiting.pop(0)
        buckets: dict[object, list[int]] = {}
        for i in members:
            buckets.setdefault(orders[i][depth] if depth < len(orders[i]) else None, []).append(i)
        if len(members) == 1 or (len(members) <= most and not whole):
            parts.append(members)
        elif list(buckets) == [None]:  # they do not part any more
            parts += [members[k : k + most] for k in range(0, len(members), most)]
        else:
            parted = len(buckets) > 1
            waiting += [(bucket, depth + 1, whole and not parted) for bucket in buckets.values()]
    return parts
