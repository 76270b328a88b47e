"""Tasks on a Dask cluster: its workers are looked at before they get work, whenever they join, and watched meanwhile.

Each task is sent to one worker that has nothing else to do, so what a worker takes down with it is what it worked on.
"""

from __future__ import annotations

import asyncio
import importlib
import logging
import math
import time
from collections import Counter, deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ThreadPoolExecutor, wait
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic, TypeVar

from chainsim.batch.execution.worker_faults import Needs, answer, faults_there, needs
from chainsim.errors import ChainsimError

CONNECT_S = 10.0
LOOK_S = 1.0
"""So often it is looked which workers are there."""

NO_WORKER_S = 30.0
"""So long a batch waits for workers where all are gone: one that was restarted is back by then."""

MOST_LOSSES = 4
"""A task that so many workers died of is not given to another."""

T = TypeVar("T")
R = TypeVar("R")
Tell = Callable[[str], None]


class ClusterError(ChainsimError):
    """A cluster that cannot be used; the message has a line for each thing wrong."""


def run_on_cluster(
    tasks: Sequence[T], work: Callable[[T], R], address: str, folders: Iterable[Path], files: Iterable[Path], tell: Tell
) -> Generator[R, None, None]:
    """Run every task on the workers of a cluster, and give each result as soon as it is there.

    When this ends early, what waits is cancelled; what runs ends unheard.

    Parameters
    ----------
    tasks : sequence
    work : callable
        A function of a module.
    address : str
        Of the scheduler, "tcp://HOST:PORT".
    folders, files : iterable of Path
        Absolute paths: folders that every worker must be able to write, and files that it must be able to read.
    tell : callable
        Gets a line on each worker that joined later and cannot have work.

    Yields
    ------
    result of a task
        As they end, in no order.

    Raises
    ------
    ClusterError
        If no worker can be had, if one of those there at the beginning cannot have work, or if all were lost.
    """
    distributed = _dask("distributed")
    with _quiet(), ExitStack() as stack:
        client = stack.enter_context(closing(_connect(address)))
        try:
            _wait_for_worker(client, address)
            wanted = stack.enter_context(needs(folders, files))
            fit = _check(client, wanted)
            # Not pure: a task handed in again is another run, since its results may have been removed.
            executor = client.get_executor(pure=False)
            stack.callback(executor.shutdown, wait=False)
            crew = _Crew(client, executor, address, wanted, fit, tell)
            yield from _run(tasks, work, executor, crew)
        except distributed.KilledWorker as error:
            raise _deadly(address, error.allowed_failures + 1) from None
        except (CancelledError, OSError) as error:
            if isinstance(error, OSError) and client.status == "running":
                raise
            raise ClusterError(f"{address}: lost the connection to the scheduler") from None


def _deadly(address: str, workers: int) -> ClusterError:
    return ClusterError(
        f"{address}: {workers} workers died of the same task, one after the other (no memory left?); their logs tell"
        " more"
    )


def _dask(module: str) -> Any:
    """A module of Dask's, which an extra brings."""
    try:
        return importlib.import_module(module)
    except ImportError:
        raise ClusterError('a scheduler needs what is not installed: pip install "chainsim[cluster]"') from None


@contextmanager
def _quiet() -> Iterator[None]:
    """Leave to our own errors what Dask would tell on stderr."""
    names = [name for name in logging.root.manager.loggerDict if name.split(".")[0] in ("distributed", "tornado")]
    levels = {logging.getLogger(name): logging.getLogger(name).level for name in names}
    for logger in levels:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in levels.items():
            logger.setLevel(level)


def _connect(address: str) -> Any:
    """Connect to a scheduler; first it is seen whether one answers, since a client without one takes long to close."""
    connect, security = _dask("distributed.comm").connect, _dask("distributed.security").Security()

    async def knock() -> None:
        async with asyncio.timeout(CONNECT_S):  # what is no scheduler may take a connection and never say a word
            comm = await connect(address, timeout=CONNECT_S, **security.get_connection_args("client"))
            await comm.close()

    try:
        with ThreadPoolExecutor(1) as executor:  # a notebook's own thread has its own event loop running
            executor.submit(asyncio.run, knock()).result()
        return _dask("distributed").Client(address, timeout=CONNECT_S, set_as_default=False)
    except ValueError as error:
        raise ClusterError(f'scheduler "{address}": {error}, allowed: "tcp://HOST:PORT"') from None
    except (OSError, RuntimeError):
        raise ClusterError(f"{address}: no scheduler answers there within {CONNECT_S:g} s") from None


def _wait_for_worker(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError:
        raise ClusterError(
            f"{address}: no worker joined within {CONNECT_S:g} s; start one: dask worker {address}"
        ) from None


def _check(client: Any, wanted: Needs) -> set[str]:
    """Ask the scheduler, which opens what it hands on, and every worker that is there; give the workers' addresses."""
    told: dict[str, list[str]] = {}
    try:
        told["the scheduler"] = client.run_on_scheduler(faults_there, replace(wanted, notes=[], sizes={}))
    except Exception as error:  # whatever the import of another chainsim, or of none, ends in
        told["the scheduler"] = answer(error)
    answers = client.run(faults_there, wanted, on_error="return")
    told |= {f"worker {worker}": answer(asked) for worker, asked in answers.items()}
    whose: dict[str, list[str]] = {}
    for one, faults in told.items():
        for fault in faults:
            whose.setdefault(fault, []).append(one)
    if whose:
        raise ClusterError(
            "\n".join(f"{each[0]}{f' and {len(each) - 1} more' if each[1:] else ''}: {f}" for f, each in whose.items())
        )
    return set(answers)


@dataclass(frozen=True)
class _Try(Generic[T]):
    """A task, the worker that has it, and how many were lost with it before."""

    task: T
    worker: str = ""
    losses: int = 0


def _run(tasks: Sequence[T], work: Callable[[T], R], executor: Any, crew: _Crew) -> Generator[R, None, None]:
    """Keep every thread of the crew at work until all tasks are done."""
    todo = deque(_Try(task) for task in tasks)
    running: dict[Future[Any], _Try[T]] = {}
    ended: list[Future[Any]] = []
    while True:
        crew.look()
        for future in [f for f, one in running.items() if one.worker not in crew.threads and not f.done()]:
            lost = running.pop(future)
            future.cancel()
            if lost.losses + 1 == MOST_LOSSES:
                raise _deadly(crew.address, MOST_LOSSES)
            todo.appendleft(replace(lost, losses=lost.losses + 1))
        for worker in crew.free(one.worker for one in running.values())[: len(todo)]:
            one = replace(todo.popleft(), worker=worker)
            running[_call(executor, worker, work, one.task)] = one
        for future in ended:
            yield future.result()
        if not (todo or running):
            return
        done = _wait([*running, *crew.asked])
        ended = [future for future in running if future in done]
        for future in ended:
            del running[future]


def _wait(futures: Sequence[Future[Any]]) -> set[Future[Any]]:
    """Wait for the first to end, or for the next look."""
    if not futures:
        time.sleep(LOOK_S)
    return wait(futures, LOOK_S, FIRST_COMPLETED).done


def _call(executor: Any, worker: str, function: Callable[[T], R], argument: T) -> Future[R]:
    """Call a function on one worker, and on no other if that one is lost."""
    called: Future[R] = executor.submit(function, argument, workers=[worker], allow_other_workers=False)
    return called


class _Crew:
    """The workers that can have work: those found fit that are there.

    Attributes
    ----------
    address : str
    threads : mapping from worker to int
        How many tasks each may have now.
    asked : mapping from future to worker
        Those that joined and have not answered yet.
    """

    def __init__(self, client: Any, executor: Any, address: str, wanted: Needs, fit: set[str], tell: Tell) -> None:
        self._client, self._executor, self.address, self._wanted, self._tell = client, executor, address, wanted, tell
        self._faults: dict[str, list[str]] = {worker: [] for worker in fit}
        self.threads: dict[str, int] = {}
        self.asked: dict[Future[list[str]], str] = {}
        self._seen, self._next = time.monotonic(), -math.inf

    def look(self) -> None:
        """See who is there, once every LOOK_S or as answers come; raise if nobody has been for NO_WORKER_S."""
        now = time.monotonic()
        if now < self._next and not any(future.done() for future in self.asked):
            return
        self._next = now + LOOK_S
        there = self._client.scheduler_info(n_workers=-1)["workers"]
        if self._client.status != "running":  # and what it says is old
            raise CancelledError
        self._forget(there)
        for future in [future for future in self.asked if future.done()]:
            self._judge(self.asked.pop(future), answer(future.exception() or future.result()))
        for worker in there.keys() - self._faults.keys() - set(self.asked.values()):
            self._wanted.renew()
            self.asked[_call(self._executor, worker, faults_there, self._wanted)] = worker
        self.threads = {
            worker: info["nthreads"] if info["status"] == "running" else 0
            for worker, info in there.items()
            if self._faults.get(worker) == []
        }
        if self.threads or self.asked:
            self._seen = now
        elif now - self._seen > NO_WORKER_S:
            unfit = (f"\nworker {worker}: {fault}" for worker, faults in self._faults.items() for fault in faults)
            raise ClusterError(
                f"{self.address}: all workers are gone, and none came back in {NO_WORKER_S:g} s{''.join(unfit)}"
            )

    def _judge(self, worker: str, faults: list[str]) -> None:
        self._faults[worker] = faults
        if faults:
            self._tell(f"worker {worker} joined later and gets no work: it {'; '.join(faults)}")

    def _forget(self, there: Mapping[str, Any]) -> None:
        """Let go of who is gone: what comes back under the same address may be another."""
        self._faults = {worker: faults for worker, faults in self._faults.items() if worker in there}
        for future in [future for future, worker in self.asked.items() if worker not in there]:
            del self.asked[future]
            future.cancel()

    def free(self, busy: Iterable[str]) -> list[str]:
        """Workers with threads to spare, each as often as it has, those with least work first."""
        count = Counter(busy)
        return [w for _, w in sorted((i, w) for w, n in self.threads.items() for i in range(count[w], n))]
