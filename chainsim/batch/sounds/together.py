"""Many sounds of one take, rendered in one graph, so that what their chains have in common is computed once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from chainsim.audio.reading import TakeReader, open_take, take_hash
from chainsim.audio.writing import TakeWriter
from chainsim.batch.execution.memory import give_back
from chainsim.batch.files.metering import cautions
from chainsim.batch.results.keys import NamedFiles, sketch_digest
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.sound_figures import SoundFiguresMeter
from chainsim.batch.sounds.union import Union
from chainsim.errors import AudioError, StorageError
from chainsim.graph.engine import Engine
from chainsim.measure.gaps import GapMeter, Gaps
from chainsim.measure.null import NullMeter
from chainsim.measure.sound_distance.meter import SoundMeter
from chainsim.sketch.model import Sketch
from chainsim.units import Array, Audio

MANY_SOUNDS = 20
"""From so many on it is worth some tenths of a second to give their memory back at once."""
NULL = "null"
"""Name under which a store keeps the sketch of the samples by which two sounds are found to be the same."""
THE_TAKE = "the take "
"""How a sound's warning begins that is about what went through it."""

_LARGEST = float(np.finfo(np.float32).max)
READ_FRAMES = 1 << 16
_CHANGED = "changed while it was rendered; run the same command again"


@dataclass(frozen=True)
class Sound:
    """One sound to be made of a take.

    Attributes
    ----------
    key : str
        Under which the store keeps what comes of it.
    sketch : Sketch
    audio : Path or None
        Where it is written, as a WAV file of 32-bit floats; None where its figures are enough.
    trim_db : float
        Gain of that file; figures are those before it.
    digest : str or None
        `sketch_digest` when the key was made: the sound fails if a file that the sketch names has changed since. None
        is not checked.
    """

    key: str
    sketch: Sketch
    audio: Path | None = None
    trim_db: float = 0.0
    digest: str | None = None


@dataclass(frozen=True)
class Task:
    """Sounds of one take that share a graph.

    Attributes
    ----------
    take : Path
    sounds : tuple of Sound
    store : Path
        Folder of the store that keeps what comes of them.
    compare : bool
        Keep also what distances and nulls are computed from.
    take_sha256 : str or None
        Hash of the take when the keys were made: the sounds fail if it has changed since. None is not checked.
    """

    take: Path
    sounds: tuple[Sound, ...]
    store: Path
    compare: bool = False
    take_sha256: str | None = None


@dataclass(frozen=True)
class Done:
    """What became of one sound: it is in the store, or this is why not; `built` is false if its chain cannot be."""

    key: str
    error: str | None = None
    built: bool = True


@dataclass(frozen=True)
class TaskResult:
    """What became of a task.

    Attributes
    ----------
    done : tuple of Done
        In the order of the sounds.
    block_runs, single_block_runs : int
        How many blocks ran, and how many would have if each sound had been rendered alone.
    warnings : tuple of str
        Of all sounds; the store has those of each with its figures.
    """

    done: tuple[Done, ...]
    block_runs: int = 0
    single_block_runs: int = 0
    warnings: tuple[str, ...] = ()


def _always() -> bool:
    return True


def render_together(task: Task, threads: int = 1, keep_going: Callable[[], bool] = _always) -> TaskResult:
    """Render the sounds of a task and keep what comes of them in its store; one that fails leaves the rest alone.

    Parameters
    ----------
    task : Task
    threads : int
        Blocks that do not wait for each other run side by side on so many.
    keep_going : callable
        Asked span by span; once it says no, nothing half-made is left and `CancelledError` is raised.

    Raises
    ------
    StorageError
        If the disk is full; what was kept before stays.
    StoreError
        If the store is not one of this version.
    """
    store = ResultStore(task.store)
    try:
        with open_take(task.take) as take:
            return _render(task, take, store, threads, keep_going)
    except StorageError:
        raise
    except AudioError as error:
        return TaskResult(tuple(Done(sound.key, str(error)) for sound in task.sounds))
    finally:
        if len(task.sounds) >= MANY_SOUNDS:
            give_back()


def _render(
    task: Task, take: TakeReader, store: ResultStore, threads: int, keep_going: Callable[[], bool]
) -> TaskResult:
    union = Union(take.sample_rate_hz, take.channels, {sound.key: sound.sketch for sound in task.sounds})
    failed = {key: Done(key, error, built=False) for key, error in union.refused.items()}
    graph = union.graph
    if graph is None:
        return TaskResult(tuple(failed.values()))
    engine = Engine(graph, take.read, take.frames, threads=threads)
    engine.warm_up()
    with ExitStack() as stack:
        sounds = [sound for sound in task.sounds if sound.key in union]
        made = [stack.enter_context(_Made(sound, union, take, task.compare)) for sound in sounds]
        do_each = stack.enter_context(_doing_each(threads))
        for n0, outputs in engine.stream():
            if not keep_going():
                raise CancelledError
            do_each(partial(_Made.add, n0=n0, outputs=outputs), made)
        if task.take_sha256 not in (None, take_hash(task.take)):
            raise AudioError(f"{task.take}: {_CHANGED}")
        files, gaps = NamedFiles(), _gaps(take)
        for each in made:
            each.warnings += engine.own_warnings(each.sound.key)
        do_each(partial(_Made.keep, store=store, take_warnings=take.warnings, take_gaps=gaps, files=files), made)
        for each in made:
            if each.error is not None:
                failed[each.sound.key] = Done(each.sound.key, each.error)
    return TaskResult(
        tuple(failed.get(sound.key, Done(sound.key)) for sound in task.sounds),
        union.block_runs,
        union.single_block_runs,
        tuple(dict.fromkeys([*take.warnings, *(line for each in made for line in each.warnings)])),
    )


def _gaps(take: TakeReader) -> Gaps:
    """Where the take rests."""
    meter = GapMeter(take.sample_rate_hz, take.channels)
    for first in range(0, take.frames, READ_FRAMES):
        meter.add(np.ascontiguousarray(take.read(first, min(READ_FRAMES, take.frames - first))))
    return meter.result()


@contextmanager
def _doing_each(threads: int) -> Iterator[Callable[[Callable[[_Made], None], Iterable[_Made]], None]]:
    """A way to do something to many sounds: on so many threads, since they have nothing in common."""
    with ThreadPoolExecutor(threads) as executor:
        spread = map if threads == 1 else executor.map

        def do(act: Callable[[_Made], None], made: Iterable[_Made]) -> None:
            for _ in spread(act, made):
                pass

        yield do


class _Made:
    """One sound while it is made; its file is dropped unless it is kept.

    Attributes
    ----------
    error : str or None
        Why there is none.
    warnings : list of str
        What is to be said of it, whatever of the take.
    """

    def __init__(self, sound: Sound, union: Union, take: TakeReader, compare: bool) -> None:
        graph = union.graph
        assert graph is not None
        self.error: str | None = None
        self._files = ExitStack()
        self.sound, rate_hz, self._out = sound, graph.sample_rate_hz, f"{sound.key}:out"
        node = graph.outputs[self._out]
        self._gates = union.gates[sound.key]
        self._frames = graph.frames(take.frames, sound.key)
        self._figures = SoundFiguresMeter(rate_hz, node.channels, take.frames, node.latency, len(self._gates))
        self._compared = _Compared(rate_hz, node.channels, take.frames, round(node.latency[0])) if compare else None
        self.warnings = [*sound.sketch.late_cues(take.frames / rate_hz), *graph.own_warnings[sound.key]]
        self._take_path, self._rate_hz = take.path, rate_hz
        self._writer: TakeWriter | None = None
        if sound.audio is not None:
            self._writer = self._files.enter_context(TakeWriter(sound.audio, rate_hz, node.channels))
            self._writer.trim_db = sound.trim_db

    def __enter__(self) -> _Made:
        return self

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        self._files.__exit__(kind or CancelledError, None, None)

    def add(self, n0: int, outputs: Mapping[str, Audio]) -> None:
        """Take what of the next span belongs to it: others in the graph may sound longer."""
        frames = min(self._frames - n0, outputs[self._out].shape[1])
        if frames > 0 and self.error is None:
            with self._failing():
                self._take_span(n0, frames, outputs)

    def keep(self, store: ResultStore, take_warnings: Sequence[str], take_gaps: Gaps, files: NamedFiles) -> None:
        """Give its file its name, and the store what was measured, if it is still what its key says."""
        if self.error is None:
            with self._failing():
                if self.sound.digest not in (None, sketch_digest(self.sound.sketch, files)):
                    raise AudioError(f"a file that the sketch names {_CHANGED}")
                self._files.close()
                of_take = [THE_TAKE + line.removeprefix(f"{self._take_path}: ") for line in take_warnings]
                figures = self._figures.result(take_gaps, (*of_take, *self.warnings))
                figures = replace(figures, warnings=(*figures.warnings, *cautions(figures.true_peak_dbtp)))
                store.keep(self.sound.key, figures, arrays=self._arrays(), audio=self.sound.audio)

    @contextmanager
    def _failing(self) -> Iterator[None]:
        """What is wrong with one sound is no matter of the others, unless the disk is full."""
        try:
            yield
        except StorageError:
            raise
        except AudioError as error:
            self.error = str(error)
            self._files.__exit__(type(error), error, None)

    def _take_span(self, n0: int, frames: int, outputs: Mapping[str, Audio]) -> None:
        y = np.ascontiguousarray(outputs[self._out][:, :frames])
        fits = np.abs(y) <= _LARGEST
        if not fits.all():
            at_s = (n0 + int(np.argmin(fits.all(axis=0)))) / self._rate_hz
            raise AudioError(f"the sound at {at_s:.6f} s is not a finite number of 32 bits; nothing was kept")
        self._figures.add(y, [outputs[gate][0, :frames] for gate in self._gates])
        if self._compared is not None:
            self._compared.add(y)
        if self._writer is not None:
            self._writer.write(y)

    def _arrays(self) -> dict[str, Array] | None:
        return None if self._compared is None else self._compared.arrays(self._figures.integrated_lufs)


class _Compared:
    """What distances and nulls need of one sound."""

    def __init__(self, sample_rate_hz: float, channels: int, take_frames: int, latency_frames: int) -> None:
        self._features = SoundMeter(sample_rate_hz, channels, take_frames, latency_frames)
        self._null = NullMeter(latency_frames)

    def add(self, y: Audio) -> None:
        """Take the next span."""
        self._features.add(y)
        self._null.add(y)

    def arrays(self, integrated_lufs: float) -> dict[str, Array]:
        """Features at one loudness, and the samples' sketch."""
        return {**self._features.result(integrated_lufs).to_arrays(), NULL: self._null.result()}
