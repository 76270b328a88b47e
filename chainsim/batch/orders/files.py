"""What is left in the folder: sound and sketch of every representative, at one loudness, and tables of all orders."""

from __future__ import annotations

import math
import re
import shutil
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median
from typing import Any

from chainsim.audio.whole import PartFile, writing
from chainsim.batch.orders.report import Order, OrderGroup, Orders
from chainsim.batch.results.keys import trimmed_key
from chainsim.batch.results.tables import write_changed, write_tables
from chainsim.batch.sounds.audio_names import audio_name
from chainsim.batch.sounds.together import Sound
from chainsim.errors import SketchError
from chainsim.measure.one_loudness import CEILING_DBTP, Aim, Level, Trims, one_loudness
from chainsim.sketch.hashing import file_hash, named_files, sketch_hash

TABLE_FORMAT = 1

_HEARD = re.compile(r"\d+ .+(, [0-9a-f]{8}\.wav|\.toml)")
"""What files of representatives are called."""


def heard_name(number: int, order_name: str) -> str:
    """What the files of a group's representative are called: "2 gate - drive - plate"."""
    return f"{number} {order_name.replace(' > ', ' - ').replace(' | ', ' + ')}"


def sketch_file(number: int, order_name: str) -> str:
    """The name of the file with the sketch of a group's representative."""
    return f"{Path(audio_name([heard_name(number, order_name)], '')).stem.rstrip(' ,')}.toml"


def representatives(
    orders: Orders, keys_by_take: Sequence[Sequence[str]], folder: Path, loudness_lufs: float | None
) -> tuple[Orders, list[tuple[Sound, ...]]]:
    """What is to be rendered to be heard: each group's representative over every take, all of a take equally loud.

    Parameters
    ----------
    orders : Orders
    keys_by_take : sequence of sequences of str
        For each take the keys of all orders.
    folder : Path
        Where the files go.
    loudness_lufs : float or None
        By default as loud as the order as written is or, without that, the middle of the representatives.

    Returns
    -------
    Orders
        With the files and trims of every group.
    list of tuple of Sound
        For each take.
    """
    heard = [group.representative for group in orders.groups]
    files: list[list[Path]] = [[] for _ in heard]
    trims_db: list[list[float]] = [[] for _ in heard]
    sounds: list[tuple[Sound, ...]] = []
    warnings: dict[str, None] = {}
    for place, keys in enumerate(keys_by_take):
        trims = _trims(orders, heard, place, loudness_lufs)
        warnings |= dict.fromkeys(trims.of_all)
        made = []
        for k, i in enumerate(heard):
            order = orders.orders[i]
            key = trimmed_key(keys[i], trims.trims_db[k])
            path = folder / audio_name([heard_name(k + 1, order.name), Path(orders.takes[place]).stem], key)
            warnings |= dict.fromkeys(f"{path.name}: {line}" for line in trims.warnings[k])
            made.append(Sound(key, order.variant.sketch, path, trims.trims_db[k]))
            files[k].append(path)
            trims_db[k].append(trims.trims_db[k])
        sounds.append(tuple(made))
    groups = tuple(
        replace(group, files=tuple(map(str, files[k])), trims_db=tuple(trims_db[k]))
        for k, group in enumerate(orders.groups)
    )
    return replace(orders, groups=groups, warnings=(*orders.warnings, *warnings)), sounds


def without(orders: Orders, unwritten: Collection[Path]) -> Orders:
    """The orders, with no mention of files that could not be written."""
    gone = set(map(str, unwritten))
    groups = (
        replace(group, files=tuple(None if file in gone else file for file in group.files)) for group in orders.groups
    )
    return replace(orders, groups=tuple(groups))


def write_sketches(orders: Orders, folder: Path) -> tuple[Orders, tuple[str, ...]]:
    """Write the sketch of every representative.

    Returns
    -------
    Orders
        With the hashes of these sketches.
    tuple of str
        What is to be said of what is to be heard in the folder.
    """
    groups: list[OrderGroup] = []
    said: dict[str, None] = {}
    written = {Path(file).name for group in orders.groups for file in group.files if file is not None}
    for number, group in enumerate(orders.groups, start=1):
        order = orders.orders[group.representative]
        path = folder / sketch_file(number, order.name)
        sketch = order.variant.sketch
        written.add(path.name)
        try:
            text = order.variant.text()
        except SketchError as error:
            said[str(error)] = None
            groups.append(group)
            continue
        write_changed(path, text)
        said |= dict.fromkeys(_copied(text, sketch.folder, folder))
        groups.append(replace(group, sketch_sha256=sketch_hash(text, folder)))
    if earlier := sum(1 for path in folder.iterdir() if _HEARD.fullmatch(path.name) and path.name not in written):
        said[
            f"{folder}: {earlier} of the .wav and .toml files there are from earlier commands; orders.csv lists the"
            " sounds of this one"
        ] = None
    return replace(orders, groups=tuple(groups)), tuple(said)


def _copied(text: str, source: Path | None, folder: Path) -> Iterator[str]:
    """Copy what a sketch names beside where it is written, so that it opens there, too; yield what stood in the way."""
    for name, path in named_files(text, source).items():
        target = folder / name
        if not target.exists():
            with writing(target):
                target.parent.mkdir(parents=True, exist_ok=True)
            with PartFile(target) as part, writing(target):
                shutil.copyfile(path, part)
        elif file_hash(target) != file_hash(path):
            yield f"{target}: is there already and not the one that the sketches name; it was left as it is"


def write_orders(orders: Orders, folder: Path) -> None:
    """Write orders.csv and orders.json: a row for each order and take, and in the JSON all that was found."""
    about = {"format": TABLE_FORMAT, **orders.to_dict()}
    write_tables(folder, "orders", list(_rows(orders)), about)


def _trims(orders: Orders, heard: Sequence[int], place: int, loudness_lufs: float | None) -> Trims:
    levels = [_level(orders.orders[i], place) for i in heard]
    if loudness_lufs is None:
        written = [_level(order, place).integrated_lufs for order in orders.orders if order.variant.as_written]
        sounding = [lufs for lufs in written or [v.integrated_lufs for v in levels] if math.isfinite(lufs)]
        if not sounding:
            return Trims((0.0,) * len(levels), -math.inf, ((),) * len(levels), ())
        loudness_lufs = median(sounding)
    return one_loudness(levels, Aim(loudness_lufs, CEILING_DBTP))


def _level(order: Order, place: int) -> Level:
    figures = order.figures[place]
    return Level(order.name, figures.integrated_lufs, figures.true_peak_dbtp)


def _rows(orders: Orders) -> Iterator[dict[str, Any]]:
    for i, order in enumerate(orders.orders):
        group = orders.groups[order.group]
        for place, take in enumerate(orders.takes):
            figures = order.figures[place].to_dict()
            yield {
                "order": order.name,
                "as_written": order.variant.as_written,
                "group": order.group + 1,
                "represents_group": i == group.representative,
                "steps_from_representative": float(orders.distances[i, group.representative]),
                "take": take,
                **figures,
                "file": _file(group, place) if i == group.representative else None,
            }


def _file(group: OrderGroup, place: int) -> str | None:
    """The name of a representative's file in the folder of the table."""
    file = group.files[place] if group.files else None
    return None if file is None else Path(file).name
