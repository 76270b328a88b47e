"""Every sketch, every patch of it and every value to be tried, over every take, into a folder that remembers.

>>> batch = run_batch(["waltz.toml"], ["solo.wav"], "results", vary={"wah.q": [0.7, 2, 5]})  # doctest: +SKIP
>>> [(row.settings["wah.q"], row.figures.centroid_hz) for row in batch.rows]  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from chainsim.audio.reading import take_hash
from chainsim.audio.whole import writing
from chainsim.batch.audio_names import audio_name
from chainsim.batch.batch_report import Batch, BatchRow
from chainsim.batch.results.keys import identity, key_over, sketch_digest
from chainsim.batch.results.store import ResultStore
from chainsim.batch.results.tables import write_tables
from chainsim.batch.running import Progress, Run, run_all
from chainsim.batch.sharing import in_groups
from chainsim.batch.sweeping import plain_vary, spelling
from chainsim.batch.together import Sound, Task
from chainsim.batch.versions import Version, versions_of
from chainsim.errors import AudioError
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
    versions, warnings = versions_of(sketches, plain_vary(vary or {}), room, len(taken))
    store = ResultStore(Path(folder).resolve())
    rows = tuple(_rows(versions, taken, store.audio_folder if audio else None))
    return BatchPlan(store, rows, tuple(_tasks(rows, store)), tuple(warnings))


def run_plan(
    plan: BatchPlan, *, threads: int | None = None, scheduler: str | None = None, progress: Progress | None = None
) -> Batch:
    """Make what is to be made, and write the table; arguments and errors are those of `run_batch`."""
    store = plan.store
    if any(row.file is not None for _, row in plan.rows):
        with writing(store.audio_folder):
            store.audio_folder.mkdir(exist_ok=True)
    run = run_all(plan.tasks, threads=threads, scheduler=scheduler, progress=progress)
    rows = tuple(_finished(version, row, store, run) for version, row in plan.rows)
    warnings = tuple(dict.fromkeys([*plan.warnings, *run.warnings]))
    about = {"format": TABLE_FORMAT, "version": identity()}
    write_tables(store.folder, "results", [row.to_dict(store.folder) for row in rows], about)
    return Batch(store.folder, rows, run.block_runs, run.single_block_runs, warnings)


def _rows(
    versions: Sequence[Version], takes: Sequence[Path], audio_folder: Path | None
) -> Iterator[tuple[Version, BatchRow]]:
    """What is to be had, nothing of it rendered; what sounds the same has one file, under the name that comes first."""
    hashes = {take: _hashed(take) for take in takes}
    files: dict[str, Path] = {}
    for version in versions:
        sketch, digest = version.sketch, sketch_digest(version.sketch)
        for take in takes:
            take_sha256, error = hashes[take]
            key = None if take_sha256 is None else key_over(digest, take_sha256)
            if key is not None and audio_folder is not None:
                said = [f"{name} {spelling(value)}" for name, value in version.settings.items()]
                name = audio_name([Path(version.name).stem, sketch.patch or "", *said, take.stem], key)
                files.setdefault(key, audio_folder / name)
            yield (
                version,
                BatchRow(
                    sketch=version.name,
                    patch=sketch.patch,
                    room=sketch.room,
                    settings=version.settings,
                    take=take,
                    sketch_sha256=sketch.sha256,
                    take_sha256=take_sha256,
                    key=key,
                    file=None if key is None else files.get(key),
                    error=error,
                ),
            )


def _hashed(take: Path) -> tuple[str | None, str | None]:
    """Hash of a take, or why it has none."""
    try:
        return take_hash(take), None
    except AudioError as error:
        return None, str(error)


def _tasks(rows: Sequence[tuple[Version, BatchRow]], store: ResultStore) -> list[Task]:
    """What the store lacks, each sound once, those of a take together."""
    seen: set[str] = set()
    of_take: dict[Path, list[Sound]] = {}
    for version, row in rows:
        if row.key is not None and row.key not in seen and not store.has(row.key, audio=row.file):
            of_take.setdefault(row.take.resolve(), []).append(Sound(row.key, version.sketch, row.file))
            seen.add(row.key)
    return [Task(take, group, store.folder) for take, sounds in of_take.items() for group in in_groups(sounds)]


def _finished(version: Version, row: BatchRow, store: ResultStore, run: Run) -> BatchRow:
    """The row with its figures, or with the reason why there are none."""
    if row.key is None:
        return row
    failed = run.failed.get(row.key)
    if failed is not None:
        error = (failed.error or "").replace(str(row.take.resolve()), str(row.take))
        lines = [line if failed.built else f"{version.place}: {line}" for line in error.splitlines()]
        return replace(row, error="\n".join(lines), file=None)
    figures = store.figures(row.key)
    if figures is None:
        return replace(row, error=f"{store.folder}: what was kept there is damaged already; is the disk?", file=None)
    return replace(row, figures=figures, made=row.key in run.made)
