"""Versions that a folder of `chainsim orders` holds: what represents each group of orders that sound alike."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from chainsim.batch.listening.folder_tables import ORDERS, check_take, chosen_take, file_and_figures, telling_of_damage
from chainsim.batch.listening.made import MadeVersion, MadeVersions, on_page
from chainsim.batch.orders.files import sketch_file
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.audio_names import KEY_DIGITS
from chainsim.errors import SettingError, SketchError, StoreError
from chainsim.sketch.loading import load_sketch
from chainsim.sketch.model import Sketch


def versions_of_orders(
    folder: Path, table: Mapping[str, Any], *, take: Path | None = None, page: int | None = None
) -> MadeVersions:
    """Gather them, the group with the order as written first.

    Parameters
    ----------
    folder : Path
    table : mapping
        What its orders.json says.
    take : Path, optional
        Which take, if the folder has several, or where it is now.
    page : int, optional
        Of more than 24 groups, those of this page.

    Raises
    ------
    StoreError
        If the table is damaged, or a sound or its sketch is missing or has changed.
    SettingError
        If there is no such take or page, or there are more than 24 groups and no page is chosen.
    AudioError
        If the take is not where it was, or has changed.
    """
    with telling_of_damage(folder / ORDERS.table):
        name, path = chosen_take(table["takes"], take, folder)
        groups = [(number, group) for number, group in enumerate(table["groups"], start=1)]
        groups, note = on_page(groups, page, ORDERS.narrow)
        place, store = table["takes"].index(name), ResultStore(folder.resolve())
        check_take(path, table["take_sha256"][place], folder, ORDERS)
        versions, notes = [], [note] if note else []
        for number, group in groups:
            file = group["files"][place] if group["files"] else None
            if file is None:
                notes.append(f"{group['representative']}: could not be written")
            else:
                versions.append(_version(store, group, number, Path(file).name, group["trims_db"][place]))
        if not versions:
            raise SettingError(f"{folder}: no version could be written; run the same {ORDERS.command} command again")
        return MadeVersions(f"{table['title']}: orders", path, tuple(versions), notes=tuple(notes))


def _version(store: ResultStore, group: Mapping[str, Any], number: int, name: str, trim_db: float) -> MadeVersion:
    file, figures = file_and_figures(store, _key(store, name), name, ORDERS)
    sketch = _sketch(store.folder / sketch_file(number, group["representative"]), group["sketch_sha256"])
    return MadeVersion(
        group["representative"],
        file,
        figures,
        trim_db,
        sketch,
        "" if sketch is None else sketch.text,
        {"stands for": _stands_for(group)},
        figures.warnings,
    )


def _key(store: ResultStore, name: str) -> str:
    """The whole key of a sound whose file's name ends with its beginning."""
    digits = Path(name).stem[-KEY_DIGITS:]
    for record in sorted((store.folder / "store").glob(f"{digits}*.json")):
        audio = store.audio(record.stem)
        if audio is not None and audio.name == name:
            return record.stem
    return digits


def _sketch(path: Path, sha256: str | None) -> Sketch | None:
    """The sketch as it was written with its sound; None if it could not be."""
    if sha256 is None:
        return None
    sketch = None
    with suppress(SketchError):
        sketch = load_sketch(path)
    if sketch is None or sketch.sha256 != sha256:
        what = "has changed since its sound was made" if path.exists() else "is missing"
        raise StoreError(f"{path}: {what}; run the same {ORDERS.command} command again to write it anew")
    return sketch


def _stands_for(group: Mapping[str, Any]) -> str:
    count = len(group["orders"])
    common = f": {group['in_common']}" if group["in_common"] else ""
    return f"{count} order{'s' if count > 1 else ''} that sound{'' if count > 1 else 's'} like this{common}"
