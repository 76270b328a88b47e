"""Nodes on several threads: each once, after what it needs, costly ones at once."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from chainsim.graph.side_by_side import SideBySide

LONG_S = 60.0
"""More than anything here takes, unless it hangs."""


def run(sources: dict[str, set[str]], work: Callable[[Any], None], costs: dict[Any, float], threads: int) -> None:
    """Run nodes that stand for their names."""
    readers = {name: [r for r in sources if name in sources[r]] for name in sources}
    nodes: list[Any] = list(sources)
    with ThreadPoolExecutor(threads - 1) as executor:
        waits = {name: len(each) for name, each in sources.items()}
        SideBySide(nodes, waits, readers, costs, work, executor, threads).run_all()  # type: ignore[arg-type]


@pytest.mark.parametrize("threads", [2, 3, 5])
def test_each_runs_once_and_after_what_it_needs(threads: int) -> None:
    rng = random.Random(threads)
    for _ in range(40):
        names = [str(i) for i in range(rng.randrange(1, 30))]
        sources = {n: {m for m in names[:i] if rng.random() < 0.15} for i, n in enumerate(names)}
        ended: list[str] = []

        def work(name: str, sources: dict[str, set[str]] = sources, ended: list[str] = ended) -> None:
            assert sources[name] <= set(ended)
            ended.append(name)

        run(sources, work, {n: rng.choice([0.0, 1.0]) for n in names}, threads)
        assert sorted(ended) == sorted(names)


def test_costly_nodes_run_at_once() -> None:
    both = threading.Barrier(2)

    def work(name: str) -> None:
        if name in "ab":
            both.wait(LONG_S)

    run({"in": set(), "a": {"in"}, "b": {"in"}, "out": {"a", "b"}}, work, {"a": 1.0, "b": 1.0}, threads=2)


def test_what_goes_wrong_on_another_thread_is_raised() -> None:
    here = threading.get_ident()
    both = threading.Barrier(2)

    def work(name: str) -> None:
        if name in "ab":
            both.wait(LONG_S)
            if threading.get_ident() != here:
                raise ZeroDivisionError(name)

    sources: dict[str, set[str]] = {"in": set(), "a": {"in"}, "b": {"in"}, "out": {"a", "b"}}
    with pytest.raises(ZeroDivisionError):
        run(sources, work, {"a": 1.0, "b": 1.0}, threads=2)
