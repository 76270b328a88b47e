"""A real Dask cluster on this machine: a scheduler here, workers in processes of their own, as users start them.

Workers have no nanny that would start them again: what is lost stays lost.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from chainsim.audio.whole import STALE_S
from chainsim.batch.execution import cluster as cluster_module
from chainsim.batch.execution.cluster import ClusterError
from chainsim.batch.execution.executing import run_tasks
from chainsim.batch.execution.worker_faults import Needs, faults_there, needs
from chainsim.batch.results.keys import identity, sound_key
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.together import Sound, Task, TaskResult, render_together
from chainsim.sketch.chain import BlockStep
from chainsim.sketch.loading import parse_sketch

distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")
pytestmark = [
    pytest.mark.xdist_group("cluster"),
    pytest.mark.skipif(sys.platform == "win32", reason="processes cannot be halted there"),
]

RATE_HZ = 48_000
ROOT = Path(__file__).parents[3]
THERE = "import pathlib, chainsim.batch.execution.worker_faults as there; "
OLD = f"{THERE}there.identity = lambda: '0.0.1+old'; "
BLIND = f"{THERE}there.Path = lambda path: pathlib.Path('/elsewhere' + path); "
WORKER = "from distributed.cli.dask_worker import main; main()"
SKETCH = """
chain = ["warm", "low", "echo", "bright"]
[blocks.warm]
type = "gain"
gain_db = -3
[blocks.low]
type = "gain"
gain_db = -6.1
[blocks.echo]
type = "delay"
time_ms = 31
feedback_percent = 20
[blocks.bright]
type = "equalizer"
bands = [{ freq_hz = 1500, gain_db = 5, q = 1 }]
"""
LONG_S = 120.0
"""More than anything here takes, unless it hangs."""


@dataclass(frozen=True)
class Plain:
    """A task for work that makes no sound."""

    take: Path
    store: Path
    number: int = 0


def number(task: Plain) -> int:
    return task.number


def slow(task: Plain) -> int:
    time.sleep(0.3)
    return task.number


def fail(task: Plain) -> int:
    raise ValueError(f"task {task.number}")


def die(task: Plain) -> int:
    os._exit(9)


def render_and_halt_once(task: Task) -> TaskResult:
    """Render; the first worker that has done so stands still before it can say so."""
    result = render_together(task)
    with suppress(FileExistsError):
        os.symlink(str(os.getpid()), task.take.parent / "halted")  # there with all that it says, or not yet
        os.kill(os.getpid(), signal.SIGSTOP)
    return result


def process_once_told(task: Plain) -> int:
    """Task 0 ends at once, the others when two workers have been told of."""
    deadline = time.monotonic() + LONG_S
    while task.number and len((task.store / "told").read_text().splitlines()) < 2 and time.monotonic() < deadline:
        time.sleep(0.01)
    return os.getpid()


@pytest.fixture(scope="module")
def scheduler() -> Iterator[Any]:
    """The scheduler of a local cluster, without workers yet."""
    with distributed.LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as local:
        yield local.scheduler


class Workers:
    """Worker processes with one thread each, as `dask worker` starts them, by the code that does."""

    def __init__(self, scheduler: Any, log: Path, stack: ExitStack) -> None:
        self._scheduler, self._log, self._stack = scheduler, log, stack
        self._stderr = stack.enter_context(log.open("wb"))
        self.processes: list[subprocess.Popen[bytes]] = []

    def start(self, *codes: str) -> None:
        """Start workers, and wait until they have joined."""
        options = ["--no-nanny", "--nthreads", "1", "--no-dashboard", "--local-directory", str(self._log.parent)]
        before = set(self._scheduler.workers)
        for code in codes:
            name = str(len(self.processes))
            command = [sys.executable, "-c", code, self._scheduler.address, *options, "--name", name]
            process = subprocess.Popen(command, cwd=ROOT, stdout=self._stderr, stderr=self._stderr)
            self._stack.callback(process.wait)
            self._stack.callback(process.kill)
            self.processes.append(process)
        until(lambda: len(set(self._scheduler.workers) - before) == len(codes), self._log)

    def address(self, name: int) -> Any:
        return next(w.address for w in self._scheduler.workers.values() if int(w.name) == name)


@contextmanager
def workers(scheduler: Any, log: Path, *codes: str) -> Iterator[Workers]:
    with ExitStack() as stack:
        crew = Workers(scheduler, log, stack)
        crew.start(*codes)
        yield crew
    until(lambda: not scheduler.workers, log)


def until(holds: Callable[[], bool], log: Path) -> None:
    """Wait for what will soon be so."""
    deadline = time.monotonic() + LONG_S
    while not holds():
        assert time.monotonic() < deadline, log.read_text()
        time.sleep(0.01)


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Half a second of noise that fades away."""
    path = tmp_path / "take.wav"
    frames = RATE_HZ // 2
    x = np.random.default_rng(5).standard_normal(frames) * np.linspace(0.1, 0.0, frames)
    soundfile.write(path, x, RATE_HZ, subtype="FLOAT")
    return path


def batch(take: Path, folder: Path) -> list[Task]:
    """Every order of four blocks over a take, three a task."""
    sketch, sha256 = parse_sketch(SKETCH), hashlib.sha256(take.read_bytes()).hexdigest()
    (folder / "audio").mkdir(parents=True)
    sounds = []
    for order in itertools.permutations(["warm", "low", "echo", "bright"]):
        chain = tuple(BlockStep(name) for name in order)
        one = replace(sketch, base=replace(sketch.base, chain=chain))
        sounds.append(Sound(sound_key(one, sha256), one, folder / "audio" / f"{'-'.join(order)}.wav"))
    return [Task(take, tuple(sounds[i : i + 3]), folder, compare=True) for i in range(0, len(sounds), 3)]


def contents(folder: Path) -> dict[str, str]:
    """Hashes of all files that a run keeps."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith(".")
    }


def test_a_worker_lost_in_the_middle_loses_and_doubles_nothing(scheduler: Any, take: Path, tmp_path: Path) -> None:
    local, remote = tmp_path / "local", tmp_path / "remote"
    expected = list(run_tasks(batch(take, local), render_together, threads=2))
    tasks, results = batch(take, remote), []
    with workers(scheduler, tmp_path / "log", WORKER, WORKER) as crew:
        for result in run_tasks(tasks, render_and_halt_once, scheduler=scheduler.address):
            results.append(result)
            if len(results) == 2:
                halted = os.readlink(tmp_path / "halted")
                (process,) = (process for process in crew.processes if str(process.pid) == halted)
                process.kill()
                process.wait()
        assert len(scheduler.workers) == 1
    keys = [done.key for result in results for done in result.done]
    assert sorted(keys) == sorted({sound.key for task in tasks for sound in task.sounds})
    assert [done.error for result in results for done in result.done] == [None] * 24
    assert sum(r.block_runs for r in results) == sum(r.block_runs for r in expected)
    assert contents(remote) == contents(local)
    assert len([name for name in contents(remote) if name.endswith(".wav")]) == 24


def test_workers_that_cannot_have_it_are_told_one_by_one(scheduler: Any, take: Path, tmp_path: Path) -> None:
    without = f"import sys; sys.modules['chainsim'] = None; {WORKER}"
    other = f"{OLD}{WORKER}"
    with workers(scheduler, tmp_path / "log", without, other):
        with pytest.raises(ClusterError) as caught:
            list(run_tasks([Plain(take, tmp_path)], number, scheduler=scheduler.address))
        lines = str(caught.value).splitlines()
        assert len(lines) == 2
        assert all(line.startswith("worker tcp://127.0.0.1:") for line in lines)
        assert sum(f": has no chainsim, or another than here, {identity()}: " in line for line in lines) == 1
        assert sum(f": has chainsim 0.0.1+old, and here is {identity()}: they must be" in line for line in lines) == 1
    assert list(tmp_path.glob(".*")) == []


def test_who_joins_later_works_unless_it_cannot(scheduler: Any, take: Path, tmp_path: Path) -> None:
    told, results = tmp_path / "told", []
    told.touch()

    def tell(line: str) -> None:
        with told.open("a") as file:
            file.write(f"{line}\n")

    tasks = [Plain(take, tmp_path, i) for i in range(4)]
    with workers(scheduler, tmp_path / "log", WORKER) as crew:
        for result in run_tasks(tasks, process_once_told, scheduler=scheduler.address, tell=tell):
            results.append(result)
            if len(results) == 1:
                crew.start(OLD + WORKER, BLIND + WORKER, WORKER)
                crew.processes[0].kill()
        old, blind = (f"worker {crew.address(name)} joined later and gets no work: it " for name in (1, 2))
        first, *_, late = (process.pid for process in crew.processes)
    assert results == [first] + [late] * 3
    assert sorted(told.read_text().splitlines()) == sorted(
        [
            f"{old}has chainsim 0.0.1+old, and here is {identity()}: they must be the same",
            f"{blind}does not see the folder /elsewhere{tmp_path}, which must be on storage that all machines share;"
            f" does not see {take}, which must be on storage that all machines share",
        ]
    )
    assert list(tmp_path.glob(".*")) == []


def test_what_a_batch_may_end_in(
    scheduler: Any, take: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(cluster_module, "LOOK_S", 0.1)
    monkeypatch.setattr(cluster_module, "NO_WORKER_S", 0.5)
    monkeypatch.setattr(cluster_module, "CONNECT_S", LONG_S)
    tasks = [Plain(take, tmp_path, i) for i in range(6)]
    address = scheduler.address
    with workers(scheduler, tmp_path / "log", WORKER):
        with pytest.raises(ValueError, match="task 0"):
            list(run_tasks(tasks[:1], fail, scheduler=address))
        with closing(run_tasks(tasks, slow, scheduler=address)) as results:
            assert next(results) in range(6)
        until(lambda: not scheduler.tasks, tmp_path / "log")
        with pytest.raises(ClusterError) as gone:
            list(run_tasks(tasks, die, scheduler=address))
        assert str(gone.value) == f"{address}: all workers are gone, and none came back in 0.5 s"
    monkeypatch.setattr(cluster_module, "NO_WORKER_S", LONG_S)  # a death is heard of late where much else runs
    with workers(scheduler, tmp_path / "log", WORKER):
        monkeypatch.setattr(scheduler, "allowed_failures", 0)
        monkeypatch.setattr(cluster_module, "LOOK_S", LONG_S)  # it hears of the task before it looks who is there
        with pytest.raises(ClusterError) as killed:
            list(run_tasks(tasks, die, scheduler=address))
        assert str(killed.value).startswith(f"{address}: 1 workers died of the same task, one after the other")
    monkeypatch.setattr(cluster_module, "LOOK_S", 0.1)
    with workers(scheduler, tmp_path / "log", WORKER):
        monkeypatch.setattr(scheduler, "allowed_failures", 9)
        monkeypatch.setattr(cluster_module, "MOST_LOSSES", 1)
        with pytest.raises(ClusterError) as deadly:
            list(run_tasks(tasks, die, scheduler=address))
        assert str(deadly.value) == str(killed.value)
    connect = cluster_module._connect

    def connected(address: str) -> Any:
        """However long that takes, a worker must then be there within a second."""
        client = connect(address)
        monkeypatch.setattr(cluster_module, "CONNECT_S", 1.0)
        return client

    monkeypatch.setattr(cluster_module, "_connect", connected)
    with pytest.raises(ClusterError) as empty:
        list(run_tasks(tasks, number, scheduler=address))
    assert str(empty.value) == f"{address}: no worker joined within 1 s; start one: dask worker {address}"
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("address", "limit_s", "message"),
    [
        (
            "harbour",
            LONG_S,
            'scheduler "harbour": missing port number in address \'harbour\', allowed: "tcp://HOST:PORT"',
        ),
        ("tcp://127.0.0.1:1", 0.3, "tcp://127.0.0.1:1: no scheduler answers there within 0.3 s"),
    ],
)
def test_nobody_at_that_address(
    address: str,
    limit_s: float,
    message: str,
    take: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(cluster_module, "CONNECT_S", limit_s)
    with pytest.raises(ClusterError) as caught:
        list(run_tasks([Plain(take, take.parent)], number, scheduler=address))
    assert str(caught.value) == message
    assert capfd.readouterr().err == ""


def test_what_a_worker_says_of_files(take: Path, tmp_path: Path) -> None:
    size = take.stat().st_size
    with needs([tmp_path / "new"], [take, tmp_path / "none.wav"]) as wanted:
        (note,) = map(Path, wanted.notes)
        assert (wanted.version, wanted.sizes) == (identity(), {str(take): size})
        assert faults_there(wanted) == []
        note.unlink()
        wanted.renew()
        assert faults_there(wanted) == []
    assert list((tmp_path / "new").iterdir()) == []
    elsewhere = tmp_path / "elsewhere"
    shared = "which must be on storage that all machines share"
    lost = Needs(identity(), [str(elsewhere / note.name)], {str(elsewhere / "take.wav"): size})
    assert faults_there(lost) == [
        f"does not see the folder {elsewhere}, {shared}",
        f"does not see {elsewhere / 'take.wav'}, {shared}",
    ]
    assert faults_there(Needs(identity(), [], {str(take): size + 1})) == [
        f"sees another file at {take}: {size} bytes, here {size + 1}"
    ]
    several = {str(tmp_path / name): 7 for name in ("a.wav", "b.wav", "c.wav")}
    assert faults_there(Needs(identity(), [], several)) == [f"does not see {tmp_path / 'a.wav'} and 2 more, {shared}"]
    for name in several:
        Path(name).write_bytes(b"short")
    assert faults_there(Needs(identity(), [], several)) == [
        f"sees another file at {tmp_path / 'a.wav'}: 5 bytes, here 7, and 2 more"
    ]


def test_a_note_left_by_a_killed_run_is_swept_and_one_in_use_comes_back(tmp_path: Path) -> None:
    with needs([tmp_path / "audio"], []) as wanted:
        (note,) = map(Path, wanted.notes)
        os.utime(note, times=(time.time() - STALE_S - 60.0,) * 2)
        ResultStore(tmp_path)
        assert not note.exists()
        wanted.renew()
        ResultStore(tmp_path)
        assert note.exists()


def test_a_note_goes_with_an_interrupt(tmp_path: Path) -> None:
    with ExitStack() as stack:
        stack.enter_context(pytest.raises(KeyboardInterrupt))
        stack.enter_context(needs([tmp_path], []))
        assert len(list(tmp_path.iterdir())) == 1
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []
