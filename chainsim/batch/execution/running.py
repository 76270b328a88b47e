"""Tasks of a batch run and what became of them counted; what a full disk left undone is said."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field

from chainsim.batch.execution.executing import Progress, run_tasks
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.together import Done, Task, render_together
from chainsim.errors import StorageError


@dataclass
class Run:
    """What came of the tasks.

    Attributes
    ----------
    made : set of str
        Keys of the sounds that are in the store now.
    failed : dict of Done, by key
    block_runs, single_block_runs : int
        Blocks that ran, and that would have run if each sound had been rendered alone.
    warnings : list of str
        Of the sounds.
    told : list of str
        About where they are rendered.
    """

    made: set[str] = field(default_factory=set)
    failed: dict[str, Done] = field(default_factory=dict)
    block_runs: int = 0
    single_block_runs: int = 0
    warnings: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


def tasks_at_once(threads: int | None, scheduler: str | None) -> int:
    """How many tasks run at once on one machine; a cluster's workers each run one."""
    return 1 if scheduler is not None else threads or os.cpu_count() or 1


def run_all(
    tasks: Sequence[Task],
    *,
    threads: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Run:
    """Render the sounds of all tasks into their stores.

    Parameters
    ----------
    tasks, threads, scheduler
        As for `run_tasks`.
    progress : callable, optional
        Told (sounds done, sounds to be made).

    Raises
    ------
    StorageError
        If the disk is full; what was kept before stays.
    StoreError, ClusterError, SettingError
        As `run_tasks` and `render_together`.
    """
    run, count = Run(), sum(len(task.sounds) for task in tasks)
    try:
        results = run_tasks(tasks, render_together, threads=threads, scheduler=scheduler, tell=run.told.append)
        for result in results:
            run.block_runs += result.block_runs
            run.single_block_runs += result.single_block_runs
            run.warnings += [line for line in result.warnings if line not in run.warnings]
            run.made |= {done.key for done in result.done if done.error is None}
            run.failed |= {done.key: done for done in result.done if done.error is not None}
            if progress is not None:
                progress(len(run.made) + len(run.failed), count)
    except StorageError as error:
        # What ended at the same moment is in the store, though nobody has heard of it here.
        stores = {task.store: ResultStore(task.store) for task in tasks}
        there = sum(stores[task.store].has(sound.key) for task in tasks for sound in task.sounds)
        raise StorageError(
            f"{str(error).removesuffix('; nothing was kept')}; {there} of {count} sounds are there: make room, and the"
            " same command goes on from there"
        ) from error
    return run
