"""Tasks on threads: side by side, ended early, told apart."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from chainsim.batch.execution.cluster import ClusterError
from chainsim.batch.execution.executing import run_tasks, threads_each
from chainsim.errors import ChainsimError, SettingError

LONG_S = 60.0
"""More than anything here takes, unless it hangs."""


@dataclass
class Asked:
    """A task that notes what becomes of it."""

    number: int
    take: Path = Path("/take.wav")
    store: Path = Path("/store")
    threads: list[int] = field(default_factory=list)
    told_to_end: bool = False


def note(task: Asked, threads: int, keep_going: Callable[[], bool]) -> int:
    task.threads.append(threads)
    assert keep_going()
    return task.number


def until_told(task: Asked, threads: int, keep_going: Callable[[], bool]) -> int:
    """Task 0 is done at once; the others run until they are told to end."""
    task.threads.append(threads)
    waited = threading.Event()
    for _ in range(round(LONG_S / 0.01)):
        if task.number == 0:
            return 0
        if not keep_going():
            task.told_to_end = True
            break
        waited.wait(0.01)
    return task.number


def test_every_task_is_run_once_and_told_of() -> None:
    tasks = [Asked(i) for i in range(7)]
    told: list[tuple[int, int]] = []
    results = run_tasks(tasks, note, threads=2, progress=lambda *counts: told.append(counts))
    assert sorted(results) == list(range(7))
    assert told == [(i, 7) for i in range(1, 8)]
    assert [task.threads for task in tasks] == [[1]] * 6 + [[2]]


def test_no_tasks_are_no_work() -> None:
    assert list(run_tasks([], note)) == []


def test_two_run_at_once() -> None:
    both = threading.Barrier(2)

    def meet(task: Asked, threads: int, keep_going: Callable[[], bool]) -> int:
        both.wait(LONG_S)
        return task.number

    assert sorted(run_tasks([Asked(i) for i in range(4)], meet, threads=2)) == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("tasks", "count", "each"),
    [
        (4, 2, [1, 1, 1, 1]),
        (5, 2, [1, 1, 1, 1, 2]),
        (1, 2, [2]),
        (3, 8, [3, 3, 2]),
        (11, 4, [1] * 8 + [2, 1, 1]),
        (3, 1, [1, 1, 1]),
    ],
)
def test_the_last_tasks_use_the_cores_that_are_left(tasks: int, count: int, each: list[int]) -> None:
    assert threads_each(tasks, count) == each
    assert sum(each[tasks - tasks % count :]) in (0, count)


def test_who_stops_asking_ends_what_runs_and_what_waits() -> None:
    tasks = [Asked(i) for i in range(6)]
    with closing(run_tasks(tasks, until_told, threads=2)) as results:
        assert next(results) == 0
    begun = [task for task in tasks if task.threads]
    assert len(begun) <= 3
    assert all(task.told_to_end for task in begun[1:])
    assert threads_left() == []


def test_an_error_in_the_loop_ends_the_tasks() -> None:
    tasks = [Asked(i) for i in range(6)]

    def stumble() -> None:
        for _ in run_tasks(tasks, until_told, threads=2):
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        stumble()
    assert threads_left() == []
    assert sum(task.told_to_end for task in tasks) == sum(bool(task.threads) for task in tasks) - 1


def test_an_error_of_a_task_ends_the_others() -> None:
    def fail(task: Asked, threads: int, keep_going: Callable[[], bool]) -> int:
        if task.number == 1:
            raise ChainsimError("the disk is full")
        return until_told(task, threads, keep_going)

    tasks = [Asked(i) for i in (2, 1, 3, 4, 5)]
    with pytest.raises(ChainsimError, match="the disk is full"):
        list(run_tasks(tasks, fail, threads=2))
    assert tasks[0].told_to_end
    assert not tasks[-1].threads
    assert threads_left() == []


@pytest.mark.skipif(sys.platform == "win32", reason="no signal can be sent to oneself there")
def test_an_interrupt_ends_the_tasks() -> None:
    def interrupted(task: Asked, threads: int, keep_going: Callable[[], bool]) -> int:
        if task.number == 1:
            os.kill(os.getpid(), signal.SIGINT)
        return until_told(task, threads, keep_going)

    tasks = [Asked(i) for i in range(3)]
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background jobs ignore it
    try:
        with pytest.raises(KeyboardInterrupt):
            list(run_tasks(tasks, interrupted, threads=1))
    finally:
        signal.signal(signal.SIGINT, before)
    assert tasks[1].told_to_end
    assert not tasks[2].threads
    assert threads_left() == []


def threads_left() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name.startswith("task")]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"threads": 0}, "threads = 0, allowed: at least 1"),
        (
            {"threads": 2, "scheduler": "tcp://127.0.0.1:8786"},
            "threads = 2, allowed: none beside a scheduler, whose workers have their own",
        ),
    ],
)
def test_threads_that_cannot_be_had(options: dict[str, object], message: str) -> None:
    with pytest.raises(SettingError) as caught:
        list(run_tasks([Asked(0)], note, **options))  # type: ignore[arg-type]
    assert str(caught.value) == message


def test_a_cluster_without_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError) as caught:
        list(run_tasks([Asked(0)], note, scheduler="tcp://127.0.0.1:8786"))
    assert str(caught.value) == 'a scheduler needs what is not installed: pip install "chainsim[cluster]"'
