"""Many tasks at once: on threads of this machine, or on the workers of a Dask cluster.

Both are executors in the sense of `concurrent.futures`, so one loop hands out the tasks and gathers what comes back.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from chainsim.errors import SettingError

LOOK_S = 1.0
"""After so long without a result it is looked whether any can still come."""

Progress = Callable[[int, int], None]
"""Told (tasks done, tasks in all)."""


class OnFiles(Protocol):
    """A task that reads a take and writes into a folder of results."""

    @property
    def take(self) -> Path:
        """An absolute path, since workers elsewhere have working folders of their own."""

    @property
    def store(self) -> Path:
        """An absolute path, too."""


T = TypeVar("T", bound=OnFiles)
R = TypeVar("R")


@dataclass(frozen=True)
class Place:
    """Where tasks run: an executor, what each is called with, and a look that raises if nothing can come any more."""

    executor: Executor
    options: Sequence[Mapping[str, Any]]
    look: Callable[[], None]


def run_tasks(
    tasks: Sequence[T],
    work: Callable[..., R],
    *,
    threads: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Iterator[R]:
    """Run every task, several at once, and give each result as soon as it is there.

    When this ends early, by an error, by an interrupt or because nobody asks for the next result, what waits is
    cancelled; what runs on threads is told to end and waited for, what runs on a cluster ends unheard.

    Parameters
    ----------
    tasks : sequence
    work : callable
        On threads it is called as ``work(task, threads=n, keep_going=f)``: it may use `n` threads, and is to end soon
        once `f()` is false. On a cluster it is called as ``work(task)``, and must be a function of a module.
    threads : int >= 1, optional
        How many at once on this machine; by default one a core.
    scheduler : str, optional
        Address of a Dask scheduler, "tcp://HOST:8786", whose workers run the tasks instead.
    progress : callable, optional

    Yields
    ------
    result of a task
        As they end, in no order.

    Raises
    ------
    SettingError
        If `threads` is less than 1, or stands beside a scheduler.
    ClusterError
        If the cluster cannot be used: nobody at that address, no workers, or workers that have another chainsim or do
        not see the files.
    Exception
        Whatever `work` raises ends the run.
    """
    if not tasks:
        return
    with _place(tasks, threads, scheduler) as place:
        each = zip(tasks, place.options, strict=True)
        waiting = {place.executor.submit(work, task, **options) for task, options in each}
        while waiting:
            ended, waiting = wait(waiting, LOOK_S, FIRST_COMPLETED)
            if not ended:
                place.look()
            for count, future in enumerate(ended, len(tasks) - len(waiting) - len(ended) + 1):
                result = future.result()
                if progress is not None:
                    progress(count, len(tasks))
                yield result


@contextmanager
def _place(tasks: Sequence[OnFiles], threads: int | None, scheduler: str | None) -> Iterator[Place]:
    if threads is not None and (threads < 1 or scheduler is not None):
        allowed = "at least 1" if scheduler is None else "none beside a scheduler, whose workers have their own"
        raise SettingError(f"threads = {threads}, allowed: {allowed}")
    if scheduler is None:
        with _threads(len(tasks), threads or os.cpu_count() or 1) as place:
            yield place
    else:
        from chainsim.batch.cluster import cluster

        files = {task.take for task in tasks}
        with cluster(scheduler, {task.store for task in tasks}, files) as (executor, look):
            yield Place(executor, [{}] * len(tasks), look)


@contextmanager
def _threads(tasks: int, count: int) -> Iterator[Place]:
    """Threads of this machine; tasks that still run when these end are told to."""
    stopped = threading.Event()
    executor = ThreadPoolExecutor(count, "task")
    options = [
        {"threads": threads, "keep_going": lambda: not stopped.is_set()} for threads in threads_each(tasks, count)
    ]
    try:
        yield Place(executor, options, lambda: None)
    finally:
        stopped.set()
        executor.shutdown(cancel_futures=True)


def threads_each(tasks: int, count: int) -> list[int]:
    """How many threads each task may use, so that `count` of them have work to the end.

    >>> threads_each(5, 2), threads_each(3, 8)
    ([1, 1, 1, 1, 2], [3, 3, 2])
    """
    last = tasks % count
    return [1] * (tasks - last) + [(count + last - 1 - i) // last for i in range(last)]
