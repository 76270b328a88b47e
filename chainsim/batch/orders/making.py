"""Orders over takes, rendered into a store as far as it lacks them; what cannot be built or read is left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from chainsim.audio.reading import open_take, take_hash
from chainsim.batch.execution.executing import Progress
from chainsim.batch.execution.running import Run, run_all, tasks_at_once
from chainsim.batch.orders.splitting import most_together, split_by_beginning
from chainsim.batch.orders.variants import Variant
from chainsim.batch.results.keys import NamedFiles, key_over, sketch_digest
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.audio_names import audio_name
from chainsim.batch.sounds.together import Done, Sound, Task
from chainsim.errors import AudioError, GraphError
from chainsim.measure.sound_distance.plan import COMPARED_S


@dataclass(frozen=True)
class Made:
    """Orders whose sounds are in the store.

    Attributes
    ----------
    variants : tuple of Variant
    takes : tuple of Path
    take_hashes : tuple of str
    keys : tuple of tuple of str
        For each take the keys of all orders.
    left_out : dict of str
        Orders that cannot be built, by name, with the reason.
    failed : tuple of str
        What is wrong with takes, and with orders that could not be rendered.
    run : Run
    reused : int
        Sounds that were there already.
    warnings : tuple of str
        What is to be said of the takes.
    """

    variants: tuple[Variant, ...]
    takes: tuple[Path, ...]
    take_hashes: tuple[str, ...]
    keys: tuple[tuple[str, ...], ...]
    left_out: Mapping[str, str]
    failed: tuple[str, ...]
    run: Run
    reused: int
    warnings: tuple[str, ...]


def make_orders(
    store: ResultStore,
    variants: Sequence[Variant],
    takes: Sequence[Path],
    *,
    every_file: bool = False,
    threads: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Made:
    """Render what the store lacks.

    Parameters
    ----------
    store : ResultStore
    variants : sequence of Variant
    takes : sequence of Path
    every_file : bool
        Write every sound, too.
    threads, scheduler, progress
        As for `run_all`.

    Raises
    ------
    AudioError
        If no take can be read, or no order rendered.
    GraphError
        If no order can be built.
    """
    hashes, failed, warnings = _hashes(takes)
    files = NamedFiles()
    digests = [sketch_digest(variant.sketch, files) for variant in variants]
    keys = {take: [key_over(digest, sha256) for digest in digests] for take, sha256 in hashes.items()}
    if every_file:
        store.make_audio_folder()
    tasks: list[Task] = []
    at_once = tasks_at_once(threads, scheduler)
    for take, of_take in keys.items():
        sounds = [
            Sound(key, variant.sketch, _file(store, variant, take, key) if every_file else None, digest=digest)
            for key, digest, variant in zip(of_take, digests, variants, strict=True)
        ]
        missing = [i for i, s in enumerate(sounds) if not store.has(s.key, audio=s.audio, compare=True)]
        tasks += tasks_for(
            store, take, [sounds[i] for i in missing], [variants[i] for i in missing], at_once,
            compare=True, take_sha256=hashes[take],
        )  # fmt: skip
    run = run_all(tasks, threads=threads, scheduler=scheduler, progress=progress)
    for take, of_take in list(keys.items()):
        if errors := _of_take(run, of_take):
            failed += errors
            del keys[take]
    if not keys:
        raise AudioError("\n".join(dict.fromkeys(failed)))
    names = {key: variant.name for of_take in keys.values() for variant, key in zip(variants, of_take, strict=True)}
    left_out = {names[key]: str(done.error) for key, done in run.failed.items() if key in names and not done.built}
    failed += _of_orders({names[key]: done for key, done in run.failed.items() if key in names and done.built})
    gone = {names[key] for key in run.failed if key in names}
    kept = [i for i, variant in enumerate(variants) if variant.name not in gone]
    if not kept:
        raise (AudioError if failed else GraphError)("\n".join(dict.fromkeys([*failed, *left_out.values()])))
    return Made(
        variants=tuple(variants[i] for i in kept),
        takes=tuple(keys),
        take_hashes=tuple(hashes[take] for take in keys),
        keys=tuple(tuple(of_take[i] for i in kept) for of_take in keys.values()),
        left_out=left_out,
        failed=tuple(dict.fromkeys(failed)),
        run=run,
        reused=sum(key not in run.made and key not in run.failed for of_take in keys.values() for key in of_take),
        warnings=tuple(warnings),
    )


def tasks_for(
    store: ResultStore, take: Path, sounds: Sequence[Sound], variants: Sequence[Variant], at_once: int,
    *, compare: bool = False, take_sha256: str | None = None,
) -> list[Task]:  # fmt: skip
    """Tasks that make sounds of one take, one a variant; those that begin alike are made together.

    Parameters
    ----------
    store, take, sounds, variants, compare, take_sha256
        What `Task` is made of.
    at_once : int
        How many tasks may run at once on one machine.
    """
    parts = split_by_beginning([variant.units for variant in variants], most_together(at_once))
    return [Task(take.resolve(), tuple(sounds[i] for i in part), store.folder, compare, take_sha256) for part in parts]


def _hashes(takes: Sequence[Path]) -> tuple[dict[Path, str], list[str], list[str]]:
    """Hashes of the takes that can be read, each recording once; what is wrong with others; what is to be said."""
    first: dict[str, Path] = {}
    failed, warnings = [], []
    for take in takes:
        try:
            with open_take(take) as opened:
                sha256, lasts_s = take_hash(take), opened.frames / opened.sample_rate_hz
        except AudioError as error:
            failed.append(str(error))
            continue
        if sha256 in first:
            warnings.append(f"{take}: is the same recording as {first[sha256]}, and is tried once")
            continue
        first[sha256] = take
        if lasts_s > COMPARED_S:
            warnings.append(
                f"{take}: lasts {lasts_s:.1f} s; only its first {COMPARED_S:g} s are compared, nulls are of all of it"
            )
    return {take: sha256 for sha256, take in first.items()}, failed, warnings


def _of_take(run: Run, keys: Sequence[str]) -> list[str]:
    """What is wrong with a take, if no order that can be built could be rendered over it."""
    built = [key for key in keys if key not in run.failed or run.failed[key].built]
    errors = [run.failed[key].error for key in built if key in run.failed]
    return [str(error) for error in dict.fromkeys(errors)] if built and len(errors) == len(built) else []


def _of_orders(failed: Mapping[str, Done]) -> Iterator[str]:
    """What is wrong with single orders, by name; one line where it is the same with several."""
    for error in dict.fromkeys(str(done.error) for done in failed.values()):
        first, *others = [name for name, done in failed.items() if str(done.error) == error]
        yield f"{first}: {error}" + (f" (and {len(others)} more so)" if others else "")


def _file(store: ResultStore, variant: Variant, take: Path, key: str) -> Path:
    return store.audio_folder / audio_name([variant.name.replace(" > ", " - "), take.stem], key)
