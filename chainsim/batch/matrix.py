"""Every sketch, every patch of it and every value to be tried, over every take, into a folder that remembers.

>>> batch = run_batch(["waltz.toml"], ["solo.wav"], "results", vary={"wah.q": [0.7, 2, 5]})  # doctest: +SKIP
>>> [(row.settings["wah.q"], row.figures.centroid_hz) for row in batch.rows]  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from chainsim.audio.reading import take_hash
from chainsim.audio.whole import writing
from chainsim.batch.audio_names import audio_name
from chainsim.batch.executing import run_tasks
from chainsim.batch.results.keys import identity, key_over, sketch_digest
from chainsim.batch.results.store import ResultStore
from chainsim.batch.results.tables import write_tables
from chainsim.batch.sharing import in_groups
from chainsim.batch.sound_figures import SoundFigures
from chainsim.batch.sweeping import plain_vary, spelling
from chainsim.batch.together import Sound, Task, render_together
from chainsim.batch.versions import Version, versions_of
from chainsim.errors import AudioError, StorageError
from chainsim.sketch.model import Sketch

TABLE_FORMAT = 1

Progress = Callable[[int, int], None]
"""Told (sounds done, sounds to be made)."""


@dataclass(frozen=True)
class BatchRow:
    """One sound of a batch.

    Attributes
    ----------
    sketch : str
        The file, or the title of a sketch that came from none.
    patch, room : str or None
    settings : dict
        What was varied, and its value here.
    take : Path
    sketch_sha256 : str
    take_sha256, key : str or None
        None if the take cannot be read.
    file : Path or None
        Where it can be heard.
    figures : SoundFigures or None
    error : str or None
        Why there are no figures.
    made : bool
        Whether this run rendered it.
    """

    sketch: str
    patch: str | None
    room: str | None
    settings: Mapping[str, Any]
    take: Path
    sketch_sha256: str
    take_sha256: str | None = None
    key: str | None = None
    file: Path | None = None
    figures: SoundFigures | None = None
    error: str | None = None
    made: bool = False

    def to_dict(self, folder: Path) -> dict[str, Any]:
        """Plain values by column, always the same; the file as it is found from `folder`."""
        figures = {} if self.figures is None else self.figures.to_dict()
        return {
            "sketch": self.sketch,
            "patch": self.patch,
            "room": self.room,
            **self.settings,
            "take": str(self.take),
            **{f.name: figures.get(f.name) for f in fields(SoundFigures) if f.name != "warnings"},
            "warnings": figures.get("warnings", []),
            "file": None if self.file is None else self.file.relative_to(folder).as_posix(),
            "error": None if self.error is None else "; ".join(self.error.splitlines()),
            "sketch_sha256": self.sketch_sha256,
            "take_sha256": self.take_sha256,
            "version": identity(),
            "sound_key": self.key,
        }


@dataclass(frozen=True)
class Batch:
    """What a batch gave.

    Attributes
    ----------
    folder : Path
        Absolute; it holds "results.csv", "results.json", the sounds and the store.
    rows : tuple of BatchRow
        By sketch, values, patch and take, in this order.
    block_runs, single_block_runs : int
        How many blocks ran, and how many would have if each sound had been rendered alone.
    warnings : tuple of str
    """

    folder: Path
    rows: tuple[BatchRow, ...]
    block_runs: int = 0
    single_block_runs: int = 0
    warnings: tuple[str, ...] = ()

    @property
    def rendered(self) -> int:
        """Sounds that this run made."""
        return sum(row.made for row in self.rows)

    @property
    def reused(self) -> int:
        """Sounds that were there."""
        return sum(row.figures is not None and not row.made for row in self.rows)

    @property
    def failed(self) -> int:
        """Sounds that could not be made."""
        return sum(row.error is not None for row in self.rows)

    @property
    def errors(self) -> tuple[str, ...]:
        """Why they could not, each line once."""
        return tuple(dict.fromkeys(line for row in self.rows for line in (row.error or "").splitlines()))

    def to_dict(self) -> dict[str, Any]:
        """Plain values: what this run did, and the table."""
        return {
            "folder": str(self.folder),
            "rendered": self.rendered,
            "reused": self.reused,
            "failed": self.failed,
            "errors": list(self.errors),
            "block_runs": self.block_runs,
            "single_block_runs": self.single_block_runs,
            "rows": [row.to_dict(self.folder) for row in self.rows],
        }


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
    taken = tuple({Path(take).resolve(): Path(take) for take in takes}.values())
    versions, warnings = versions_of(sketches, plain_vary(vary or {}), room, len(taken))
    store = ResultStore(Path(folder).resolve())
    rows = list(_rows(versions, taken, store.audio_folder if audio else None))
    tasks = _tasks(rows, store)
    if audio:
        with writing(store.audio_folder):
            store.audio_folder.mkdir(exist_ok=True)
    run = _run(tasks, threads, scheduler, progress)
    finished = tuple(_finished(version, row, store, run) for version, row in rows)
    batch = Batch(
        store.folder, finished, run.block_runs, run.single_block_runs, tuple(dict.fromkeys([*warnings, *run.warnings]))
    )
    about = {"format": TABLE_FORMAT, "version": identity()}
    write_tables(store.folder, "results", [row.to_dict(store.folder) for row in finished], about)
    return batch


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
    missing: dict[str, tuple[Path, Sound]] = {}
    for version, row in rows:
        if row.key is not None and row.key not in missing and not store.has(row.key, audio=row.file):
            missing[row.key] = row.take.resolve(), Sound(row.key, version.sketch, row.file)
    takes = dict.fromkeys(take for take, _ in missing.values())
    of_take = {take: [sound for its_take, sound in missing.values() if its_take == take] for take in takes}
    return [Task(take, group, store.folder) for take, sounds in of_take.items() for group in in_groups(sounds)]


@dataclass
class _Run:
    """What came of the tasks; errors by key, with whether the sketch is at fault."""

    made: set[str] = field(default_factory=set)
    errors: dict[str, tuple[str, bool]] = field(default_factory=dict)
    block_runs: int = 0
    single_block_runs: int = 0
    warnings: list[str] = field(default_factory=list)


def _run(tasks: Sequence[Task], threads: int | None, scheduler: str | None, progress: Progress | None) -> _Run:
    run, count = _Run(), sum(len(task.sounds) for task in tasks)
    try:
        for result in run_tasks(tasks, render_together, threads=threads, scheduler=scheduler):
            run.block_runs += result.block_runs
            run.single_block_runs += result.single_block_runs
            run.warnings += result.warnings
            for done in result.done:
                if done.error is None:
                    run.made.add(done.key)
                else:
                    run.errors[done.key] = done.error, not done.built
            if progress is not None:
                progress(len(run.made) + len(run.errors), count)
    except StorageError as error:
        raise StorageError(
            f"{error}; {len(run.made)} of {count} sounds were made: make room, and the same command goes on from there"
        ) from error
    return run


def _finished(version: Version, row: BatchRow, store: ResultStore, run: _Run) -> BatchRow:
    """The row with its figures, or with the reason why there are none."""
    if row.key is None:
        return row
    if row.key in run.errors:
        error, of_sketch = run.errors[row.key]
        error = error.replace(str(row.take.resolve()), str(row.take))
        lines = [f"{version.place}: {line}" if of_sketch else line for line in error.splitlines()]
        return replace(row, error="\n".join(lines), file=None)
    figures = store.figures(row.key)
    if figures is None:
        return replace(row, error=f"{store.folder}: what was kept there is damaged already; is the disk?", file=None)
    return replace(row, figures=figures, made=row.key in run.made)
