"""Many tasks at once: on threads of this machine, or on the workers of a Dask cluster.

Either way results come as they end, an error ends the run, and who stops asking for results ends what waits.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from contextlib import closing
from pathlib import Path
from typing import Protocol, TypeVar

from chainsim.errors import SettingError

WAIT_S = 1.0
"""An interrupt is heard after so long, also where a wait without an end would not hear it."""

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


def run_tasks(
    tasks: Sequence[T],
    work: Callable[..., R],
    *,
    threads: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
    tell: Callable[[str], None] | None = None,
) -> Generator[R, None, None]:
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
    tell : callable, optional
        Gets a line on each worker of the cluster that joined later and cannot have work.

    Yields
    ------
    result of a task
        As they end, in no order.

    Raises
    ------
    SettingError
        If `threads` is less than 1, or stands beside a scheduler.
    ClusterError
        If the cluster cannot be used: nobody at that address, no workers, or workers at the beginning that have another
        chainsim or do not see the files.
    Exception
        Whatever `work` raises ends the run.
    """
    if not tasks:
        return
    if threads is not None and (threads < 1 or scheduler is not None):
        allowed = "at least 1" if scheduler is None else "none beside a scheduler, whose workers have their own"
        raise SettingError(f"threads = {threads}, allowed: {allowed}")
    if scheduler is None:
        run = _run_on_threads(tasks, work, threads or os.cpu_count() or 1)
    else:
        from chainsim.batch.execution.cluster import run_on_cluster

        folders, files = {task.store for task in tasks}, {task.take for task in tasks}
        run = run_on_cluster(tasks, work, scheduler, folders, files, tell or (lambda line: None))
    with closing(run) as results:
        for count, result in enumerate(results, 1):
            if progress is not None:
                progress(count, len(tasks))
            yield result


def _run_on_threads(tasks: Sequence[T], work: Callable[..., R], count: int) -> Generator[R, None, None]:
    """Run tasks on threads of this machine; those that still run when this ends are told to end."""
    stopped = threading.Event()
    executor = ThreadPoolExecutor(count, "task")
    try:
        waiting = {
            executor.submit(work, task, threads=threads, keep_going=lambda: not stopped.is_set())
            for task, threads in zip(tasks, threads_each(len(tasks), count), strict=True)
        }
        while waiting:
            ended, waiting = wait(waiting, WAIT_S, FIRST_COMPLETED)
            for future in ended:
                yield future.result()
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
