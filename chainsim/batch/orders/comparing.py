"""Every order of a chain's blocks over some takes: rendered together, compared, gathered into groups that sound alike.

>>> sketch = chainsim.load_sketch("five_knots.toml")  # doctest: +SKIP
>>> found = chainsim.compare_orders(sketch, ["solo.wav"], "orders")  # doctest: +SKIP
>>> [(group.common.text, len(group.members)) for group in found.groups]  # doctest: +SKIP
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypedDict

from chainsim.batch.execution.running import run_all, tasks_at_once
from chainsim.batch.matrix.takes import refuse_folder_of
from chainsim.batch.orders.files import representatives, without, write_orders, write_sketches
from chainsim.batch.orders.grouping import AUDIBLE_STEPS, check_grouping, group_orders
from chainsim.batch.orders.likeness import distances_over, residuals_over
from chainsim.batch.orders.making import Made, make_orders, tasks_for
from chainsim.batch.orders.planning import notes_of_a_set
from chainsim.batch.orders.relations import common_relations
from chainsim.batch.orders.report import Order, OrderGroup, Orders
from chainsim.batch.orders.swaps import find_swaps, forks
from chainsim.batch.orders.variants import OrderSet, order_variants, swap_variants
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.batch.sounds.together import Task
from chainsim.errors import SettingError, StoreError
from chainsim.sketch.model import Sketch
from chainsim.sketch.ordering import OrderRules

Progress = Callable[[str, int, int], None]
"""Told (what is being done, how much of it is done, of how much)."""


LEAST_LUFS = -60.0
"""Quieter is no loudness to listen at."""


class Options(TypedDict):
    """Where tasks run, as for `run_all`."""

    threads: int | None
    scheduler: str | None


def compare_orders(
    sketch: Sketch,
    takes: Sequence[str | Path] | str | Path,
    folder: str | Path | None = None,
    *,
    rules: OrderRules | None = None,
    swap: tuple[str, str] | None = None,
    sample: int | None = None,
    seed: int = 0,
    threshold_steps: float = AUDIBLE_STEPS,
    most_groups: int | None = None,
    every_file: bool = False,
    loudness_lufs: float | None = None,
    threads: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Orders:
    """Render the blocks of a chain in many orders over takes, and say which differ.

    Parameters
    ----------
    sketch : Sketch
        Its chain as written is what is tried; `sketch.alone(patch)` makes that a patch's.
    takes : sequence of path, or path
        Two orders differ if they do on any of them.
    folder : path, optional
        Where files, tables and what is needed to go on after an interruption are kept; made if need be. Without it
        nothing is left.
    rules : OrderRules, optional
        Added to the sketch's own.
    swap : (str, str), optional
        Instead of all this the order as written, and the one with these two blocks exchanged.
    sample, seed
        As for `order_variants`.
    threshold_steps : float
        How far two orders of a group may be apart, in steps of which one is just audible.
    most_groups : int, optional
        At most so many groups, though orders in them may then differ audibly.
    every_file : bool
        Write every order, too, as it comes.
    loudness_lufs : float, optional
        Of the representatives' files, -60 to 0; by default as loud as the order as written.
    threads, scheduler
        As for `run_tasks`.
    progress : callable, optional
        Told what is being done, how much of it is done, and of how much.

    Returns
    -------
    Orders

    Raises
    ------
    SketchError, SettingError
        If rules contradict each other, a number is outside its range, or options do not go together; nothing is
        rendered then.
    AudioError, StoreError
        If no take can be read, no order rendered, or the folder cannot be used.
    GraphError
        If no order can be built.
    """
    paths = list(dict.fromkeys(map(Path, [takes] if isinstance(takes, str | Path) else takes)))
    if not paths:
        raise SettingError("no takes, allowed from one on")
    if folder is not None:
        refuse_folder_of(paths, Path(folder))
    check_grouping(threshold_steps, most_groups)
    if loudness_lufs is not None and not LEAST_LUFS <= loudness_lufs <= 0.0:
        raise SettingError(f"loudness_lufs = {loudness_lufs:g} LUFS, allowed {LEAST_LUFS:g} ... 0")
    if folder is None and (every_file or scheduler is not None):
        what = "every_file" if every_file else "scheduler"
        raise SettingError(f"{what} without a folder, allowed: one where all that was found stays")
    if swap is not None and (rules or sample is not None or most_groups is not None):
        raise SettingError(
            "swap beside rules, sample or most_groups, allowed: alone, since it names all there is to try"
        )
    if swap is None:
        orders = order_variants(sketch, rules, sample=sample, seed=seed)
    else:
        orders = OrderSet(2, swap_variants(sketch, *swap), notes_of_a_set(sketch))
    told = progress or _untold
    options: Options = {"threads": threads, "scheduler": scheduler}
    with ExitStack() as stack:
        place = Path(folder) if folder is not None else Path(stack.enter_context(TemporaryDirectory()))
        store = ResultStore(place.resolve())
        made = make_orders(
            store, orders.variants, paths, every_file=every_file,
            progress=partial(told, "rendering"), **options,
        )  # fmt: skip
        residuals_db = residuals_over(store, made.keys)
        distances = distances_over(
            store, made.keys, residuals_db, threads or os.cpu_count() or 1, partial(told, "comparing")
        )
        as_written = next((i for i, variant in enumerate(made.variants) if variant.as_written), None)
        grouping = group_orders(
            distances, residuals_db, threshold_steps=threshold_steps, most=most_groups, as_written=as_written
        )
        units = [variant.units for variant in made.variants]
        common = common_relations(units, [group.members for group in grouping.groups], partial(told, "grouping"))
        found = Orders(
            title=sketch.title,
            takes=tuple(map(str, made.takes)),
            orders=tuple(
                Order(variant, group, _figures(store, [of_take[i] for of_take in made.keys]))
                for i, (variant, group) in enumerate(zip(made.variants, grouping.group_of, strict=True))
            ),
            groups=tuple(OrderGroup(group, each) for group, each in zip(grouping.groups, common, strict=True)),
            identical=grouping.identical,
            swaps=find_swaps(units, distances, residuals_db),
            forks=find_swaps(units, distances, residuals_db, change=forks),
            distances=distances,
            residuals_db=residuals_db,
            threshold_steps=threshold_steps,
            possible=orders.count,
            notes=orders.notes,
            left_out=made.left_out,
            failed=made.failed,
            block_runs=made.run.block_runs,
            single_block_runs=made.run.single_block_runs,
            rendered=len(made.run.made),
            reused=made.reused,
            warnings=tuple(dict.fromkeys([*sketch.warnings, *made.warnings, *made.run.told, *made.run.warnings])),
            take_hashes=made.take_hashes,
        )
        return found if folder is None else _written(found, made, store, loudness_lufs, told, options)


def _figures(store: ResultStore, keys: Sequence[str]) -> tuple[SoundFigures, ...]:
    """Figures of one order, for each take."""
    found = [(key, store.figures(key)) for key in keys]
    if damaged := [key for key, figures in found if figures is None]:
        raise StoreError(f"{store.folder}: what was kept of {damaged[0][:16]} is damaged already; is the disk?")
    return tuple(figures for _, figures in found if figures is not None)


def _written(
    found: Orders, made: Made, store: ResultStore, loudness_lufs: float | None, told: Progress,
    options: Options,
) -> Orders:  # fmt: skip
    """Write what is to be heard, its sketches, and the tables."""
    found, sounds = representatives(found, made.keys, store.folder, loudness_lufs)
    variants = [found.orders[group.representative].variant for group in found.groups]
    tasks: list[Task] = []
    at_once = tasks_at_once(**options)
    for take, take_sha256, of_take in zip(made.takes, made.take_hashes, sounds, strict=True):
        missing = [i for i, sound in enumerate(of_take) if not store.has(sound.key, audio=sound.audio)]
        tasks += tasks_for(
            store, take, [of_take[i] for i in missing], [variants[i] for i in missing], at_once,
            take_sha256=take_sha256,
        )  # fmt: skip
    run = run_all(tasks, progress=partial(told, "writing"), **options)
    failed = dict.fromkeys(str(done.error) for done in run.failed.values())
    unwritten = {sound.audio for of_take in sounds for sound in of_take if sound.audio and sound.key in run.failed}
    found = without(found, unwritten)
    found, said = write_sketches(found, store.folder)
    found = replace(found, failed=(*found.failed, *failed), warnings=(*found.warnings, *said))
    write_orders(found, store.folder)
    return found


def _untold(what: str, done: int, whole: int) -> None:
    pass
