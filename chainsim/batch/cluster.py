"""A Dask cluster as an executor: found, looked at before it gets work, and watched while it works."""

from __future__ import annotations

import asyncio
import importlib
import logging
import secrets
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError, Executor, ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any

from chainsim.audio.whole import writing
from chainsim.batch.results.keys import identity
from chainsim.errors import ChainsimError, printable

CONNECT_S = 10.0
NO_WORKER_S = 30.0
"""So long a batch waits for workers where all are gone: one that was restarted is back by then."""


class ClusterError(ChainsimError):
    """A cluster that cannot be used; the message has a line for each thing wrong."""


@contextmanager
def cluster(
    address: str, folders: Iterable[Path], files: Iterable[Path]
) -> Iterator[tuple[Executor, Callable[[], None]]]:
    """Give the executor of a cluster whose workers have this chainsim and see these files.

    Parameters
    ----------
    address : str
        Of the scheduler, "tcp://HOST:PORT".
    folders, files : iterable of Path
        Absolute paths: folders that every worker must be able to write, and files that it must be able to read.

    Yields
    ------
    executor : concurrent.futures.Executor
        Work on it that is not done is cancelled at the end.
    look : callable
        Raises ClusterError once there has been no worker for long.

    Raises
    ------
    ClusterError
    """
    distributed = _dask("distributed")
    with _quiet(), ExitStack() as stack:
        client = stack.enter_context(closing(_connect(address)))
        try:
            _wait_for_worker(client, address)
            _check(client, folders, files)
            # Not pure: a task handed in again is another run, since its results may have been removed.
            executor = client.get_executor(pure=False)
            stack.callback(executor.shutdown, wait=False)
            yield executor, _Watch(client, address).look
        except distributed.KilledWorker as error:
            raise ClusterError(
                f"{address}: {error.allowed_failures + 1} workers died of the same task, one after the other (no memory"
                " left?); their logs tell more"
            ) from None
        except (CancelledError, OSError) as error:
            if isinstance(error, OSError) and client.status == "running":
                raise
            raise ClusterError(f"{address}: lost the connection to the scheduler") from None


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


class _Watch:
    """Whether a cluster still has workers."""

    def __init__(self, client: Any, address: str) -> None:
        self._client, self._address = client, address
        self._seen = time.monotonic()

    def look(self) -> None:
        """Raise if there has been no worker for NO_WORKER_S."""
        if self._client.nthreads():
            self._seen = time.monotonic()
        elif time.monotonic() - self._seen > NO_WORKER_S:
            raise ClusterError(f"{self._address}: all workers are gone, and none came back in {NO_WORKER_S:g} s")


def _check(client: Any, folders: Iterable[Path], files: Iterable[Path]) -> None:
    """Ask the scheduler, which opens what it hands on, and every worker for this chainsim and the files."""
    sizes = {str(path): path.stat().st_size for path in files if path.is_file()}
    told: dict[str, list[str]] = {}
    try:
        told["the scheduler"] = client.run_on_scheduler(faults_there, identity(), [], {})
    except Exception as error:  # whatever the import of another chainsim, or of none, ends in
        told["the scheduler"] = [_unlike(error)]
    with ExitStack() as stack:
        notes = [stack.enter_context(_note(folder)) for folder in folders]
        answers = client.run(faults_there, identity(), notes, sizes, on_error="return")
    for worker, answer in answers.items():
        told[f"worker {worker}"] = [_unlike(answer)] if isinstance(answer, Exception) else answer
    whose: dict[str, list[str]] = {}
    for one, faults in told.items():
        for fault in faults:
            whose.setdefault(fault, []).append(one)
    if whose:
        raise ClusterError(
            "\n".join(f"{each[0]}{f' and {len(each) - 1} more' if each[1:] else ''}: {f}" for f, each in whose.items())
        )


def _unlike(error: Exception) -> str:
    return f"has no chainsim, or another than here, {identity()}: {printable(str(error))}"


@contextmanager
def _note(folder: Path) -> Iterator[str]:
    """Leave a file with a name that nobody can guess where the workers are to find it."""
    note = folder / f".{secrets.token_hex(8)}.part"
    with writing(note):
        folder.mkdir(parents=True, exist_ok=True)
        note.touch()
    try:
        yield str(note)
    finally:
        note.unlink(missing_ok=True)


def faults_there(version: str, notes: Sequence[str], sizes: Mapping[str, int]) -> list[str]:
    """Say, on a machine of a cluster, why it cannot be given work.

    Parameters
    ----------
    version : str
        What `identity` gives on the machine that asks.
    notes : sequence of str
        Files that were just left in the folders to be written.
    sizes : mapping from path to bytes
        Files to be read.
    """
    faults = []
    if identity() != version:
        faults.append(f"has chainsim {identity()}, and here is {version}: they must be the same")
    for note in map(Path, notes):
        if not note.exists():
            faults.append(f"does not see the folder {note.parent}, which must be on storage that all machines share")
        elif not _writable(note.parent):
            faults.append(f"cannot write into {note.parent}")
    for path, size in sizes.items():
        try:
            found = Path(path).stat().st_size
        except OSError:
            faults.append(f"does not see {path}, which must be on storage that all machines share")
        else:
            if found != size:
                faults.append(f"sees another file at {path}: {found} bytes, here {size}")
    return faults


def _writable(folder: Path) -> bool:
    try:
        with TemporaryFile(dir=folder):
            return True
    except OSError:
        return False
