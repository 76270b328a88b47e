"""What a batch renders of its sketches, whatever the take: every value to be tried, and every patch alone."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chainsim.batch.matrix.sweeping import sweep, without_effect
from chainsim.errors import SettingError, SketchError, printable
from chainsim.sketch.loading import load_sketch
from chainsim.sketch.model import Sketch

MOST_SOUNDS = 5_000


@dataclass(frozen=True)
class Version:
    """A sketch as it is rendered.

    Attributes
    ----------
    name : str
        The file, or the title of a sketch that came from none.
    settings : dict
        What was varied, and its value here.
    sketch : Sketch
    """

    name: str
    settings: Mapping[str, Any]
    sketch: Sketch

    @property
    def place(self) -> str:
        """What messages call it."""
        return printable(self.short if self.sketch.patch is None else f"{self.short}: patches.{self.sketch.patch}")

    @property
    def short(self) -> str:
        """The file's name alone."""
        return Path(self.name).name


def versions_of(
    sketches: Iterable[Sketch | str | Path], vary: Mapping[str, Sequence[Any]], room: str | None, takes: int
) -> tuple[list[Version], list[str]]:
    """Every sketch, value and patch, in this order, and warnings about them.

    Parameters
    ----------
    sketches : paths, or Sketches
        Each file counts once.
    vary : dict by setting
    room : str or None
    takes : int
        How many takes go through each.

    Raises
    ------
    SketchError
        For faults of all sketches together, also where one has no such room or cannot take a value.
    SettingError
        If there is nothing to render, or more than 5000 sounds.
    """
    read = _read(sketches, room)
    count = takes * math.prod(map(len, vary.values())) * sum(len(list(_sounds(sketch))) for _, sketch in read)
    if not 0 < count <= MOST_SOUNDS:
        few = "fewer takes, sketches or values" if count else "name sketches and takes"
        raise SettingError(f"{count:,} sounds, allowed 1 ... {MOST_SOUNDS:,} in one batch: {few}")
    versions: list[Version] = []
    warnings: list[str] = []
    faults: list[str] = []
    for name, sketch in read:
        try:
            swept = sweep(sketch, Path(name).name, vary)
        except SketchError as error:
            faults += error.faults
            continue
        own = [Version(name, chosen, sound) for chosen, whole in swept for sound in _sounds(whole)]
        versions += own
        warnings += [f"{own[0].short}: {line}" for line in dict.fromkeys(w for v in own for w in v.sketch.warnings)]
        warnings += _vain(own)
    if faults:
        raise SketchError(faults)
    return versions, warnings


def _read(sketches: Iterable[Sketch | str | Path], room: str | None) -> list[tuple[str, Sketch]]:
    found: dict[object, tuple[str, Sketch]] = {}
    faults: list[str] = []
    for given in sketches:
        name = given.title if isinstance(given, Sketch) else str(given)
        try:
            sketch = given if isinstance(given, Sketch) else load_sketch(given)
            sketch = sketch if room is None else sketch.in_room(room)
        except SketchError as error:
            faults += error.faults
        except SettingError as error:
            faults.append(f"{Path(name).name}: {error}")
        else:
            found[id(given) if isinstance(given, Sketch) else Path(given).resolve()] = (name, sketch)
    if faults:
        raise SketchError(faults)
    return list(found.values())


def _sounds(sketch: Sketch) -> Iterator[Sketch]:
    """A sketch as written, if it has cues or no patches, and each of its patches alone."""
    if sketch.cues or not sketch.patches:
        yield sketch
    yield from map(sketch.alone, sketch.patches)


def _vain(versions: Sequence[Version]) -> Iterator[str]:
    """What is varied without effect, in some of a sketch's patches."""
    for patch in dict.fromkeys(version.sketch.patch for version in versions):
        alike = [version for version in versions if version.sketch.patch == patch]
        for setting in without_effect([(version.settings, version.sketch) for version in alike]):
            yield f"{alike[0].place}: no value of {setting} changes anything there"
