"""Versions rendered from sketches: all in one graph, so that what their chains have in common is computed once."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from chainsim.audio.reading import open_take, take_hash
from chainsim.batch.compiling import compile_ahead
from chainsim.batch.listening.foot_sounds import MOST_FOOT_SOUNDS
from chainsim.batch.listening.foot_states import reached
from chainsim.batch.listening.made import (
    MadeVersion,
    MadeVersions,
    check_patches,
    on_page,
    short_names,
    told_apart,
    without_copies,
)
from chainsim.batch.listening.telling import Progress, untold
from chainsim.batch.matrix.versions import Version, versions_of
from chainsim.batch.results.keys import sound_key
from chainsim.batch.results.store import ResultStore
from chainsim.batch.sounds.together import Sound, Task, render_together
from chainsim.errors import SketchError, StoreError
from chainsim.graph.engine import CHUNK
from chainsim.sketch.loading import load_sketch
from chainsim.sketch.model import Sketch
from chainsim.sketch.written_out import written_out

NARROW = "name patches (--patch) or fewer sketches"
AS_PLAYED = "as played"
ENDING = ".wav"
_KEY = re.compile("[0-9a-f]{64}")


def make_versions(
    sketches: Iterable[Sketch | str | Path],
    take: Path,
    store_folder: Path,
    *,
    patches: Sequence[str] = (),
    room: str | None = None,
    page: int | None = None,
    threads: int | None = None,
    told: Progress = untold,
) -> MadeVersions:
    """Render each sketch without patches, and of one with patches each patch; a sketch with cues as written, too.

    Parameters
    ----------
    sketches : paths, or Sketches
    take : Path
    store_folder : Path
        Where the sounds go; what lies there already is not made again, what an earlier call left is removed.
    patches : sequence of str
        Of sketches with patches, these alone.
    room : str, optional
    page : int, optional
        Of more than 24, those of this page.
    threads : int, optional
        By default as many as there are cores.
    told : callable, optional
        Told of what is being done, how much is done and how much there is.

    Raises
    ------
    SketchError, SettingError
        For faults of the sketches, for a room or a patch that none has, for more than 24 versions of which no page is
        chosen.
    AudioError
        If the take cannot be read.
    """
    with open_take(take) as opened:
        take_warnings, spans = tuple(opened.warnings), math.ceil(opened.frames / CHUNK)
    given = list(sketches)
    versions, warnings = versions_of(given, {}, room, 1)
    narrowed = _narrowed(versions, patches)
    chosen, note = on_page(list(zip(narrowed, _headings(narrowed), strict=True)), page, NARROW)
    versions, headings = [version for version, _ in chosen], [heading for _, heading in chosen]
    compile_ahead(version.sketch for version in versions)
    store = ResultStore(store_folder.resolve())
    store.make_audio_folder()
    sha256 = take_hash(take)
    keys = [sound_key(version.sketch, sha256) for version in versions]
    _render(store, take, dict(zip(keys, versions, strict=True)), threads or os.cpu_count() or 1, _Spans(spans, told))
    _remove_others(store_folder, set(keys))
    made, alike = without_copies(_made(store, *each) for each in zip(keys, versions, headings, strict=True))
    notes = (*filter(None, [note]), *take_warnings, *warnings, *alike)
    return MadeVersions(_title(versions), take, made, _only_set(given, room), notes)


def count_sounds(
    sketches: Sequence[Sketch | str | Path], patches: Sequence[str], room: str | None, page: int | None
) -> tuple[int, int]:
    """How many versions there are, and how many sounds the foot can call at most.

    Raises
    ------
    SketchError, SettingError
        As `make_versions` does.
    """
    versions, _ = on_page(_narrowed(versions_of(sketches, {}, room, 1)[0], patches), page, NARROW)
    whole = _only_set(sketches, room)
    return len(versions), 0 if whole is None else len(reached(whole.board, MOST_FOOT_SOUNDS)[0])


def _narrowed(versions: Sequence[Version], patches: Sequence[str]) -> list[Version]:
    """Of sketches with patches those that are named, in the order in which they are; the others as they are."""
    if not patches:
        return list(versions)
    check_patches(patches, (v.sketch.patch for v in versions))
    with_patches = {v.name for v in versions if v.sketch.patch is not None}
    kept: list[Version] = []
    for sketch in dict.fromkeys(v.name for v in versions):
        own = [v for v in versions if v.name == sketch]
        if sketch in with_patches:
            kept += [v for name in dict.fromkeys(patches) for v in own if v.sketch.patch == name]
        else:
            kept += own
    return kept


def _headings(versions: Sequence[Version]) -> list[str]:
    """By title and patch; by file where two sketches have one title."""
    titles = {version.name: version.sketch.title for version in versions}
    names = titles if len(set(titles.values())) == len(titles) else short_names(titles)
    several = {name for name in titles if sum(version.name == name for version in versions) > 1}
    return told_apart(
        [
            (
                names[version.name],
                version.sketch.patch or (AS_PLAYED if version.name in several else ""),
            )
            for version in versions
        ]
    )


def _title(versions: Sequence[Version]) -> str:
    titles = list(dict.fromkeys(version.sketch.title for version in versions))
    return titles[0] if len(titles) == 1 else f"{titles[0]} and {len(titles) - 1} more"


class _Spans:
    """Tells of each span of a render, of which there are some more than the take has: what rings on, and cues."""

    def __init__(self, whole: int, told: Progress) -> None:
        self._done, self._whole, self._told = 0, whole, told

    def __call__(self) -> bool:
        """Another one; the render is to go on."""
        self._told("rendering", min(self._done, self._whole), self._whole)
        self._done += 1
        return True


def _render(
    store: ResultStore, take: Path, versions: Mapping[str, Version], threads: int, each_span: Callable[[], bool]
) -> None:
    """Make what the store lacks."""
    sounds = [
        Sound(key, version.sketch, store.audio_folder / f"{key}{ENDING}")
        for key, version in versions.items()
        if store.audio(key) is None
    ]
    if not sounds:
        return
    result = render_together(Task(take, tuple(sounds), store.folder), threads, each_span)
    faults = [f"{versions[done.key].place}: {line}" for done in result.done for line in (done.error or "").splitlines()]
    if faults:
        raise SketchError(faults)


def _remove_others(folder: Path, kept: set[str]) -> None:
    """Of the sounds that calls of this kind have left in a folder, remove those that are not of this one."""
    for path in (folder / "audio").glob(f"*{ENDING}"):
        if path.stem not in kept and _KEY.fullmatch(path.stem):
            with suppress(OSError):
                path.unlink()
                (folder / "store" / f"{path.stem}.json").unlink(missing_ok=True)


def _made(store: ResultStore, key: str, version: Version, heading: str) -> MadeVersion:
    file, figures = store.audio(key), store.figures(key)
    if file is None or figures is None:
        raise StoreError(f"{store.folder}: what was just made there is damaged already; is the disk?")
    return MadeVersion(
        heading, file, figures, sketch=version.sketch, settings=settings_text(version.sketch), warnings=figures.warnings
    )


def settings_text(sketch: Sketch) -> str:
    """What a sketch is set to, as its file says it; for one patch of a set, of that alone where it can be told."""
    if sketch.patch is None:
        return sketch.text
    try:
        return written_out(sketch, f"{sketch.title}: {sketch.patch}")
    except SketchError:
        return sketch.text


def _only_set(sketches: Sequence[Sketch | str | Path], room: str | None) -> Sketch | None:
    """The sketch with switches, if there is only one."""
    loaded = [sketch if isinstance(sketch, Sketch) else load_sketch(sketch) for sketch in sketches]
    sets = [sketch if room is None else sketch.in_room(room) for sketch in loaded if sketch.switches]
    return sets[0] if len(sets) == 1 else None
