"""Tasks of orders: nothing runs twice for their sake, and none is larger than memory bears."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chainsim.batch.orders.splitting import most_together, split_by_beginning


def runs(orders: list[tuple[str, ...]]) -> int:
    """Blocks that run in one graph: the beginnings that differ."""
    return len({order[:k] for order in orders for k in range(1, len(order) + 1)})


@pytest.mark.parametrize("blocks", [1, 2, 4, 5, 6])
def test_all_orders_split_by_their_first_block_cost_no_run(blocks: int) -> None:
    orders = list(itertools.permutations("abcdef"[:blocks]))
    parts = split_by_beginning(orders, most_together(2))
    assert [len(part) for part in parts] == [math.factorial(blocks - 1)] * blocks
    assert sum(runs([orders[i] for i in part]) for part in parts) == runs(orders)


def test_what_all_begin_with_is_no_place_to_part() -> None:
    orders = [("gate", *rest, "hall") for rest in itertools.permutations("abc")]
    assert [len(part) for part in split_by_beginning(orders, 24)] == [2, 2, 2]


@pytest.mark.parametrize("tasks", [1, 2, 3, 6, 10])
def test_orders_at_once_are_bounded_whatever_the_machine(tasks: int) -> None:
    orders = list(itertools.permutations("abcdef"))
    parts = sorted(map(len, split_by_beginning(orders, most_together(tasks))))
    assert sum(parts[-tasks:]) <= 240
    # Where a part is split again, its first block runs once more for each: a few of the 1,956 runs.
    assert len(parts) == (6 if tasks <= 2 else 30)


@given(st.lists(st.permutations("abcd").map(tuple), min_size=1, max_size=30), st.integers(1, 8))
def test_every_order_is_in_one_task_and_none_is_too_large(orders: list[tuple[str, ...]], most: int) -> None:
    parts = split_by_beginning(orders, most)
    assert sorted(i for part in parts for i in part) == list(range(len(orders)))
    assert max(map(len, parts)) <= most
