"""Versions that a folder of `chainsim batch` holds: those of one take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from chainsim.batch.listening.folder_tables import BATCH, check_take, chosen_take, file_and_figures, telling_of_damage
from chainsim.batch.listening.from_sketches import settings_text
from chainsim.batch.listening.made import (
    MadeVersion,
    MadeVersions,
    check_patches,
    on_page,
    short_names,
    told_apart,
    without_copies,
)
from chainsim.batch.matrix.sweeping import spelling, sweep
from chainsim.batch.results.store import ResultStore
from chainsim.errors import ChainsimError, SettingError
from chainsim.sketch.loading import load_sketch
from chainsim.sketch.model import Sketch

COLUMNS = frozenset(
    {
        "sketch", "patch", "room", "take", "sample_rate_hz", "channels", "frames", "latency_ms", "integrated_lufs",
        "true_peak_dbtp", "rests_dbfs", "gate_openings", "tail_s", "centroid_hz", "warnings", "file", "error",
        "sketch_sha256", "take_sha256", "version", "sound_key",
    }
)  # fmt: skip
"""Of the table; what else a row has was varied."""

Row = Mapping[str, Any]


def versions_of_batch(
    folder: Path, table: Row, *, take: Path | None = None, patches: Sequence[str] = (), page: int | None = None
) -> MadeVersions:
    """Gather them.

    Parameters
    ----------
    folder : Path
    table : mapping
        What its results.json says.
    take : Path, optional
        Which take, if the folder has several, or where it is now.
    patches : sequence of str
        These patches alone.
    page : int, optional
        Of more than 24, those of this page.

    Raises
    ------
    StoreError
        If the table is damaged, or a sound is missing or has changed.
    SettingError
        If there is no such patch, take or page, or there are more than 24 versions and no page is chosen.
    AudioError
        If the take is not where it was, or has changed.
    """
    with telling_of_damage(folder / BATCH.table):
        name, path = chosen_take([row["take"] for row in table["rows"]], take, folder)
        rows = [row for row in table["rows"] if row["take"] == name]
        silent = [f"{_called(row)}: {row['error']}" for row in rows if row["error"] is not None]
        rows = [row for row in rows if row["error"] is None]
        check_patches(patches, (row["patch"] for row in rows))
        rows = [row for row in rows if not patches or row["patch"] in patches]
        names = short_names(row["sketch"] for row in rows)
        headings = told_apart([(names[row["sketch"]], *_chosen(row)) for row in rows])
        chosen, note = on_page(list(zip(rows, headings, strict=True)), page, BATCH.narrow)
        check_take(path, rows[0]["take_sha256"], folder, BATCH)
        store = ResultStore(folder.resolve())
        made, alike = without_copies(_version(store, *each) for each in chosen)
        return MadeVersions(folder.resolve().name, path, made, notes=(*filter(None, [note]), *silent, *alike))


def _version(store: ResultStore, row: Row, heading: str) -> MadeVersion:
    if row["file"] is None:
        raise SettingError(f"{store.folder}: has figures only; run the same {BATCH.command} command without --no-audio")
    file, figures = file_and_figures(store, row["sound_key"], row["file"], BATCH)
    sketch = _sketch(row)
    changed = [] if sketch else [f"{row['sketch']}: it, or a file that it names, is gone or has changed since"]
    told = "\n".join(f"{name} = {spelling(value)}" for name, value in _varied(row).items())
    return MadeVersion(
        heading,
        file,
        figures,
        sketch=sketch,
        settings=told if sketch is None else settings_text(sketch),
        warnings=(*figures.warnings, *changed),
    )


def _sketch(row: Row) -> Sketch | None:
    """The sketch as it was rendered; None if it or a file that it names is gone, or another by now."""
    try:
        sketch = load_sketch(row["sketch"])
        if sketch.sha256 != row["sketch_sha256"]:
            return None
        sketch = sketch if row["room"] is None else sketch.in_room(row["room"])
        _, sketch = sweep(sketch, row["sketch"], {name: [value] for name, value in _varied(row).items()})[0]
        return sketch if row["patch"] is None else sketch.alone(row["patch"])
    except ChainsimError:
        return None


def _varied(row: Row) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in COLUMNS and value is not None}


def _chosen(row: Row) -> tuple[str, ...]:
    settings = [f"{name} {spelling(value)}" for name, value in row.items() if name not in COLUMNS]
    return (row["patch"] or "", row["room"] or "", *settings)


def _called(row: Row) -> str:
    return ", ".join(part for part in (Path(row["sketch"]).stem, *_chosen(row)) if part)
