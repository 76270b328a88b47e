"""Many renders into files, one after the other; brought to one loudness together, if that is wanted."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chainsim.audio.writing import record_path, write_record
from chainsim.batch.files.file_render import FileRender, Progress
from chainsim.batch.files.file_report import FileReport
from chainsim.errors import ChainsimError
from chainsim.measure.one_loudness import Aim, Level, one_loudness
from chainsim.sketch.model import Sketch


@dataclass(frozen=True)
class Job:
    """One file to render, at least so many channels wide."""

    sketch: Sketch
    take: Path
    target: Path
    channels: int | None = None


@dataclass(frozen=True)
class Outcome:
    """What became of a job: a report or an error; `of_all` are those of its warnings that all jobs share."""

    job: Job
    report: FileReport | None = None
    error: ChainsimError | None = None
    of_all: tuple[str, ...] = ()


def render_files(
    jobs: Sequence[Job],
    around: Callable[[Job], AbstractContextManager[Progress]],
    aim: Aim | None = None,
    *,
    record: bool = False,
    **options: Any,
) -> Iterator[Outcome]:
    """Render one job after the other; one that fails leaves the rest alone.

    Parameters
    ----------
    jobs : sequence of Job
    around : callable
        Gives for each job what is to be entered while it is rendered, and what to tell of its progress.
    aim : Aim, optional
        Where all are to be brought. Then every sound is rendered before the first gets its name, and those that hold a
        peak that will not fit under the ceiling keep all others quieter too.
    record : bool
        Write each report beside its file as JSON.
    **options
        As for `FileRender`.

    Yields
    ------
    Outcome
        In the order of the jobs; without an aim each as soon as it is there.
    """
    with ExitStack() as stack:
        waiting: list[tuple[Job, FileRender, Level] | Outcome] = []
        for job in jobs:
            try:
                with around(job) as progress:
                    render = FileRender(job.sketch, job.take, job.target, channels=job.channels, **options)
                    stack.enter_context(render)
                    level = render.run(progress)
            except ChainsimError as error:
                waiting.append(Outcome(job, error=error))
            else:
                waiting.append((job, render, level))
            if aim is None:
                yield _finished(waiting.pop(), 0.0, (), (), record)
        if aim is not None:
            yield from _together(waiting, aim, record)


def _together(waiting: list[tuple[Job, FileRender, Level] | Outcome], aim: Aim, record: bool) -> Iterator[Outcome]:
    trims = one_loudness([w[2] for w in waiting if isinstance(w, tuple)], aim)
    each = zip(trims.trims_db, trims.warnings, strict=True)
    for one in waiting:
        trim_db, warnings = (0.0, ()) if isinstance(one, Outcome) else next(each)
        yield _finished(one, trim_db, warnings, trims.of_all, record)


def _finished(
    one: tuple[Job, FileRender, Level] | Outcome,
    trim_db: float,
    warnings: tuple[str, ...],
    of_all: tuple[str, ...],
    record: bool,
) -> Outcome:
    if isinstance(one, Outcome):
        return one
    job, render, _ = one
    try:
        report = render.finish(trim_db, (*warnings, *of_all))
        if record:
            write_record(record_path(job.target), report.to_dict())
    except ChainsimError as error:
        return Outcome(job, error=error)
    return Outcome(job, report, of_all=of_all)
