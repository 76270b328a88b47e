"""The nodes of one span on several threads, which take from one queue of those that wait for no other."""

from __future__ import annotations

import heapq
import itertools
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, Future, wait

from chainsim.graph.nodes import Node

WORTH_A_THREAD_S = 3e-4
"""A node that took longer in the last span may be taken by another thread; which one runs it is never heard."""


class SideBySide:
    """Runs nodes, first those after which most is to follow.

    Parameters
    ----------
    nodes : sequence of Node
        In an order in which they could run one by one.
    waits_for : mapping from Node to int
        How many of the others each needs.
    readers : mapping from Node to Nodes
        Who needs it.
    costs : dict from Node to seconds
        Of the last span; each is replaced when the node has run.
    run : callable
    executor : Executor
        Gives further threads to the calling one.
    threads : int
        How many in all.
    """

    def __init__(
        self,
        nodes: Sequence[Node],
        waits_for: Mapping[Node, int],
        readers: Mapping[Node, Sequence[Node]],
        costs: dict[Node, float],
        run: Callable[[Node], None],
        executor: Executor,
        threads: int,
    ) -> None:
        self._run, self._executor, self._threads = run, executor, threads
        self._readers, self._costs = readers, costs
        self._waiting, self._left = dict(waits_for), len(nodes)
        self._follow_s: dict[Node, float] = {}
        for node in reversed(nodes):
            longest = max((self._follow_s[reader] for reader in readers[node]), default=0.0)
            self._follow_s[node] = costs.get(node, 0.0) + longest
        self._changed = threading.Condition()
        self._numbers = itertools.count()
        self._ready: list[tuple[float, int, Node]] = []
        self._idle = False
        self._helpers: list[Future[None]] = []
        self._at_work = 0
        for node in nodes:
            if self._waiting[node] == 0:
                self._push(node)

    def run_all(self) -> None:
        """Run every node; what one raises, also on another thread, is raised when no other is at work any more."""
        try:
            with self._changed:
                self._call()
            while (node := self._wait()) is not None:
                self._take(node)
        finally:
            with self._changed:
                self._left = 0
            while at_work := [helper for helper in self._helpers if not helper.done()]:
                wait(at_work)
        for helper in self._helpers:
            helper.result()

    def _wait(self) -> Node | None:
        """The next node for the calling thread, which waits while others have what it needs; None at the end."""
        with self._changed:
            self._idle = True
            self._changed.wait_for(lambda: self._ready or self._left <= 0)
            self._idle = False
            return heapq.heappop(self._ready)[2] if self._left > 0 else None

    def _help(self) -> None:
        """Take nodes on another thread until none is ready."""
        try:
            while (node := self._next()) is not None:
                self._take(node)
        except BaseException:
            with self._changed:
                self._left = 0
                self._changed.notify()
            raise

    def _next(self) -> Node | None:
        with self._changed:
            if self._ready and self._left > 0:
                return heapq.heappop(self._ready)[2]
            self._at_work -= 1
            return None

    def _take(self, node: Node) -> None:
        begun = time.perf_counter()
        self._run(node)
        self._costs[node] = time.perf_counter() - begun
        with self._changed:
            self._left -= 1
            for reader in self._readers[node]:
                self._waiting[reader] -= 1
                if self._waiting[reader] == 0:
                    self._push(reader)
            self._call()
            if self._left <= 0:
                self._changed.notify()

    def _push(self, node: Node) -> None:
        heapq.heappush(self._ready, (-self._follow_s[node], next(self._numbers), node))

    def _call(self) -> None:
        """Leave the first node to who asks; for costly ones beside it wake the calling thread, or start others."""
        if len(self._ready) < 2:
            return
        costly = sum(self._is_costly(node) for _, _, node in self._ready[1:])
        if self._idle and (costly or self._is_costly(self._ready[0][2])):
            self._changed.notify()
            costly -= 1
        for _ in range(min(costly, self._threads - 1 - self._at_work)):
            self._at_work += 1
            self._helpers.append(self._executor.submit(self._help))

    def _is_costly(self, node: Node) -> bool:
        return self._costs.get(node, 0.0) > WORTH_A_THREAD_S
