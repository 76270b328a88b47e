"""Every sketch, every patch of it and every value to be tried, over every take, into a folder that remembers.

>>> batch = run_batch(["waltz.toml"], ["solo.wav"], "results", vary={"wah.q": [0.7, 2, 5]})  # doctest: +SKIP
>>> [(row.settings["wah.q"], row.figures.centroid_hz) for row in batch.rows]  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from chainsim.batch.execution.executing import Progress
from chainsim.batch.execution.running import Run, run_all
from chainsim.batch.matrix.batch_report import Batch, BatchRow
from chainsim.batch.matrix.sharing import split_tasks
from chainsim.batch.matrix.sweeping import plain_vary, spelling
from chainsim.batch.matrix.takes import refuse_folder_of, take_hashes
from chainsim.batch.matrix.versions import Version, versions_of
from chainsim.batch.results.keys import NamedFiles, identity, key_over, sketch_digest
from chainsim.batch.results.store import ResultStore
from chainsim.batch.results.tables import write_tables
from chainsim.batch.sounds.audio_names import audio_name
from chainsim.batch.sounds.together import THE_TAKE, Sound, Task
from chainsim.sketch.model import Sketch

TABLE_FORMAT = 1


def run_batch(
    sketches: Iterable[Sketch | str | Path],
    takes: Iterable[str | Path],
    folder: str | Path,
    *,
    vary: Mapping[str, Iterable[Any]] | None = None,
    room: str | None = None,
    audio: bool = True,
    threads: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Batch:
    """Render what a folder of results lacks, and write the table of all.

    Of a sketch with patches each is rendered alone; the sketch as written, if it has cues or no patches.

    Parameters
    ----------
    sketches : paths, or Sketches
    takes : paths
    folder : path
        Made if need be. What this version has left there, also in a run that was killed, is not made again.
    vary : dict of lists, optional
        Values by "BLOCK.SETTING", or by a setting of the sketch's head such as "tempo_bpm": all combinations.
    room : str, optional
        Render as the sketches are set in this room.
    audio : bool
        Whether sounds are written, as 32-bit float WAV; otherwise figures only.
    threads : int, optional
        How many at once on this machine; by default one a core.
    scheduler : str, optional
        Address of a Dask scheduler, whose workers render instead.
    progress : callable, optional

    Returns
    -------
    Batch
        What cannot be made, of a take that cannot be read or a chain that cannot be built, is there with the reason.

    Raises
    ------
    SketchError, SettingError
        If a sketch has a fault, has no such room or cannot take a value; or for more than 5000 sounds.
    StorageError
        If the disk is full. What was made before is kept.
    AudioError
        If the folder cannot be written.
    StoreError
        If it holds results of another version.
    """
    plan = plan_batch(sketches, takes, folder, vary=vary, room=room, audio=audio)
    return run_plan(plan, threads=threads, scheduler=scheduler, progress=progress)


@dataclass(frozen=True)
class BatchPlan:
    """What a batch is to hold, and what of it is still to be made.

    Attributes
    ----------
    store : ResultStore
    rows : tuple of (Version, BatchRow)
        Rows without figures.
    tasks : tuple of Task
        One a take.
    warnings : tuple of str
    """

    store: ResultStore
    rows: tuple[tuple[Version, BatchRow], ...]
    tasks: tuple[Task, ...]
    warnings: tuple[str, ...]

    @property
    def missing(self) -> tuple[Sketch, ...]:
        """The sketches of the sounds to be made."""
        return tuple(sound.sketch for task in self.tasks for sound in task.sounds)


def plan_batch(
    sketches: Iterable[Sketch | str | Path],
    takes: Iterable[str | Path],
    folder: str | Path,
    *,
    vary: Mapping[str, Iterable[Any]] | None = None,
    room: str | None = None,
    audio: bool = True,
) -> BatchPlan:
    """Look what a folder of results lacks; arguments and errors are those of `run_batch`."""
    taken = tuple({Path(take).resolve(): Path(take) for take in takes}.values())
    refuse_folder_of(taken, Path(folder))
    versions, warnings = versions_of(sketches, plain_vary(vary or {}), room, len(taken))
    store = ResultStore(Path(folder).resolve())
    rows = tuple(_rows(versions, taken, store, audio))
    return BatchPlan(store, rows, tuple(_tasks(rows, store)), tuple(warnings))


def run_plan(
    plan: BatchPlan, *, threads: int | None = None, scheduler: str | None = None, progress: Progress | None = None
) -> Batch:
    """Make what is to be made, and write the table; arguments and errors are those of `run_batch`."""
    store = plan.store
    if any(row.file is not None for _, row in plan.rows):
        store.make_audio_folder()
    tasks = split_tasks(plan.tasks, threads=threads, scheduler=scheduler)
    run = run_all(tasks, threads=threads, scheduler=scheduler, progress=progress)
    rendered = {sound.key: task.take for task in tasks for sound in task.sounds}
    rows = [(version, _finished(version, row, store, run, rendered)) for version, row in plan.rows]
    about = {"format": TABLE_FORMAT, "version": identity()}
    write_tables(store.folder, "results", [row.to_dict(store.folder) for _, row in rows], about)
    warnings = tuple(dict.fromkeys([*plan.warnings, *run.told, *_warnings(rows)]))
    return Batch(store.folder, tuple(row for _, row in rows), run.block_runs, run.single_block_runs, warnings)


def _rows(
    versions: Sequence[Version], takes: Sequence[Path], store: ResultStore, audio: bool
) -> Iterator[tuple[Version, BatchRow]]:
    """What is to be had, nothing of it rendered; what sounds the same has one file, under the name that comes first."""
    hashes, errors = take_hashes(takes)
    named, texts = NamedFiles(), dict[tuple[str, Path | None], str]()
    files: dict[str, Path] = {}
    for version in versions:
        sketch, digest = version.sketch, sketch_digest(version.sketch, named)
        text = sketch.text, sketch.folder
        if text not in texts:  # the same for every patch
            texts[text] = sketch.sha256
        for take in takes:
            key = key_over(digest, hashes[take]) if take in hashes else None
            if key is not None and audio and key not in files:
                files[key] = store.audio(key) or store.audio_folder / _file_name(version, take, key)
            yield (
                version,
                BatchRow(
                    sketch=version.name,
                    patch=sketch.patch,
                    room=sketch.room,
                    settings=version.settings,
                    take=take,
                    sketch_sha256=texts[text],
                    sketch_digest=digest,
                    take_sha256=hashes.get(take),
                    key=key,
                    file=None if key is None else files.get(key),
                    error=errors.get(take),
                ),
            )


def _file_name(version: Version, take: Path, key: str) -> str:
    said = [f"{name} {spelling(value)}" for name, value in version.settings.items()]
    return audio_name([Path(version.name).stem, version.sketch.patch or "", *said, take.stem], key)


def _tasks(rows: Sequence[tuple[Version, BatchRow]], store: ResultStore) -> Iterator[Task]:
    """What the store lacks, each sound once, all those of a take together."""
    seen: set[str] = set()
    of_take: dict[tuple[Path, str | None], list[Sound]] = {}
    for version, row in rows:
        if row.key is not None and row.key not in seen and not store.has(row.key, audio=row.file):
            sound = Sound(row.key, version.sketch, row.file, digest=row.sketch_digest)
            of_take.setdefault((row.take.resolve(), row.take_sha256), []).append(sound)
            seen.add(row.key)
    for (take, sha256), sounds in of_take.items():
        yield Task(take, tuple(sounds), store.folder, take_sha256=sha256)


def _warnings(rows: Sequence[tuple[Version, BatchRow]]) -> Iterator[str]:
    """What is to be said of the sounds: with the take if it is about that, or else with sketch and patch."""
    heard: dict[str, set[Path]] = {}
    said: dict[tuple[str, str], dict[Path, None]] = {}
    for version, row in rows:
        heard.setdefault(version.place, set()).add(row.take)
        for line in () if row.figures is None else row.figures.warnings:
            if line.startswith(THE_TAKE):
                yield f"{row.take}: {line.removeprefix(THE_TAKE)}"
            else:
                said.setdefault((version.place, line), {})[row.take] = None
    for (place, line), takes in said.items():
        over = "" if len(takes) == len(heard[place]) else f", over {', '.join(take.name for take in takes)}"
        yield f"{place}{over}: {line}"


def _finished(version: Version, row: BatchRow, store: ResultStore, run: Run, rendered: Mapping[str, Path]) -> BatchRow:
    """The row with its figures, or with the reason why there are none; `rendered` has the take of every sound made."""
    if row.key is None:
        return row
    failed = run.failed.get(row.key)
    if failed is not None:
        lines = (failed.error or "").replace(str(rendered[row.key]), str(row.take)).splitlines()
        lines = [line if line.startswith(f"{row.take}: ") else f"{version.place}: {line}" for line in lines]
        return replace(row, error="\n".join(lines), file=None)
    figures = store.figures(row.key)
    if figures is None:
        return replace(row, error=f"{store.folder}: what was kept there is damaged already; is the disk?", file=None)
    return replace(row, figures=figures, made=row.key in run.made)
