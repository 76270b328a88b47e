"""The listening page of versions that are made: their sounds at one loudness, and what stands beside each."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chainsim.audio.reading import read_take
from chainsim.batch.listening.distances import apart_from_first
from chainsim.batch.listening.excerpt import Excerpt, Samples, check_excerpt, in_excerpt
from chainsim.batch.listening.figures import differs, figures_of, told_of_first
from chainsim.batch.listening.foot_sounds import FootAtKeys, foot_of
from chainsim.batch.listening.made import MadeVersion, MadeVersions
from chainsim.batch.listening.page_notes import excerpt_note, loudness_notes, memory_notes
from chainsim.batch.listening.telling import Progress, each_told, untold
from chainsim.batch.listening.wires import WireSounds, silent_drawing, wire_sounds
from chainsim.errors import AudioError, printable
from chainsim.listen.page.model import ListeningPage, PageSound, VersionCard
from chainsim.listen.page.sounds import LOUDNESS_LUFS, RawSound, each_page_sound, find_trims
from chainsim.measure.one_loudness import Trims
from chainsim.measure.sound_distance.places import Apart
from chainsim.units import Array, db_to_gain

SCENE = "page"
TAKE = "take"
MOST_MB = 200
"""Of sound on a page: a third more in the file, which browsers of phones still open."""
FEW = 3
"""Versions up to which the wires of each are heard unless one says otherwise."""


@dataclass(frozen=True)
class PageOptions:
    """How a page is made.

    Attributes
    ----------
    excerpt : Excerpt or None
        The part of the take that is on it.
    loudness_lufs : float
    lossy : bool
        MP3 instead of FLAC.
    wires : bool or None
        Whether the wires of each version can be heard; None: if there are at most three.
    versions_only : bool
        The take and the versions alone, without pictures, wires and board.
    threads : int or None
        That render at the same time; None: one a core.
    """

    excerpt: Excerpt | None = None
    loudness_lufs: float = LOUDNESS_LUFS
    lossy: bool = False
    wires: bool | None = None
    versions_only: bool = False
    threads: int | None = None

    @property
    def render_threads(self) -> int:
        """How many there are."""
        return self.threads or os.cpu_count() or 1


def build_page(made: MadeVersions, options: PageOptions, told: Progress = untold) -> ListeningPage:
    """Make the page.

    Parameters
    ----------
    made : MadeVersions
    options : PageOptions
    told : callable, optional
        Told of what is being done, how much is done and how much there is.

    Raises
    ------
    SettingError
        If the take has no such part.
    AudioError
        If the take cannot be read, or the page would hold more than 200 MB of sound.
    """
    made = _printable(made)
    take, rate_hz, _ = read_take(made.take)
    sample_rate_hz, excerpt = round(rate_hz), options.excerpt
    if excerpt is not None:
        check_excerpt(excerpt, len(take) / rate_hz)
    versions = [_raw(version, key, sample_rate_hz, excerpt) for key, version in _keyed(made.versions)]
    part = take if excerpt is None else in_excerpt(take, rate_hz, excerpt)
    drawn = _drawn(made.versions, versions, take, sample_rate_hz, options, told)
    board = _board(made, take, sample_rate_hz, options, told)
    take_name = printable(made.take.name)
    raw = [
        RawSound(TAKE, take_name, "take", SCENE, part),
        *versions,
        *(sound for drawing in drawn for sound in drawing.raw),
        *([] if board is None else (replace(sound, pictures=False, lossy=True) for sound in board.raw)),
    ]
    trims = find_trims(raw, sample_rate_hz, loudness_lufs=options.loudness_lufs)
    pitch_range_hz = next((v.sketch.header.pitch_range_hz for v in made.versions if v.sketch is not None), None)
    encoded = each_page_sound(
        raw,
        sample_rate_hz,
        trims,
        lossy=options.lossy,
        pictures=not options.versions_only,
        pitch_range_hz=pitch_range_hz,
    )
    sounds = list(_limited(encoded, len(raw), told))
    notes = [*loudness_notes(raw, trims), *_notes(options, made, len(take) / rate_hz), *memory_notes(sounds)]
    return ListeningPage(
        title=made.title,
        take_name=take_name,
        sample_rate_hz=sample_rate_hz,
        sounds=tuple(sounds),
        cards=tuple(_cards(made, apart_from_first(made.versions, take, rate_hz), drawn, trims, take.shape[1])),
        starts_s=0.0 if excerpt is None else excerpt.from_s,
        foot=None if board is None else board.plain(),
        notes=tuple(dict.fromkeys([*notes, *made.notes])),
    )


def _printable(made: MadeVersions) -> MadeVersions:
    """With names that can be written, whatever files are called."""
    versions = (
        replace(
            version,
            heading=printable(version.heading),
            also=tuple(map(printable, version.also)),
            settings="\n".join(map(printable, version.settings.split("\n"))),
            said={label: printable(text) for label, text in version.said.items()},
            warnings=tuple(map(printable, version.warnings)),
        )
        for version in made.versions
    )
    return replace(made, title=printable(made.title), versions=tuple(versions), notes=tuple(map(printable, made.notes)))


def _keyed(versions: Sequence[MadeVersion]) -> Iterator[tuple[str, MadeVersion]]:
    for number, version in enumerate(versions, start=1):
        yield f"version-{number}", version


def _raw(version: MadeVersion, key: str, sample_rate_hz: int, excerpt: Excerpt | None) -> RawSound:
    if round(version.figures.sample_rate_hz) != sample_rate_hz:
        raise AudioError(
            f"{version.file}: {version.figures.sample_rate_hz:g} Hz, allowed is the take's rate, {sample_rate_hz} Hz"
        )
    audio = in_excerpt(version.samples(), sample_rate_hz, excerpt, version.figures.latency_ms / 1000.0)
    if version.trim_db:
        audio = audio * np.float32(db_to_gain(-version.trim_db))
    return RawSound(key, version.heading, "version", SCENE, audio)


def _drawn(
    versions: Sequence[MadeVersion],
    sounds: Sequence[RawSound],
    take: Array,
    sample_rate_hz: int,
    options: PageOptions,
    told: Progress,
) -> list[WireSounds]:
    """Of each version the drawing, if its sketch is there, and the wires that can be heard in it."""
    heard = len(versions) <= FEW if options.wires is None else options.wires
    drawn = []
    pairs = list(zip(versions, sounds, strict=True))
    for version, sound in each_told(pairs, "wires", told) if heard and not options.versions_only else pairs:
        if version.sketch is None or options.versions_only:
            drawn.append(WireSounds(None))
        elif heard:
            threads = options.render_threads
            drawn.append(wire_sounds(version.sketch, take, sample_rate_hz, sound, options.excerpt, threads=threads))
        else:
            drawn.append(silent_drawing(version.sketch, version.heading))
    return drawn


def _board(
    made: MadeVersions, take: Samples, sample_rate_hz: int, options: PageOptions, told: Progress
) -> FootAtKeys | None:
    if made.set_sketch is None or options.versions_only:
        return None
    return foot_of(
        made.set_sketch,
        take.astype(np.float64),
        sample_rate_hz,
        excerpt=options.excerpt,
        scene=SCENE,
        threads=options.render_threads,
        told=told,
    )


def _limited(sounds: Iterable[PageSound], count: int, told: Progress) -> Iterator[PageSound]:
    """The sounds, as long as a page has room for them."""
    size = 0
    told("sounds of the page", 0, count)
    for done, sound in enumerate(sounds, start=1):
        told("sounds of the page", done, count)
        size += len(sound.audio)
        if size > MOST_MB * 1_000_000:
            raise AudioError(
                f"the page would hold more than {MOST_MB} MB of sound: take a part of the take (--excerpt FROM,TO),"
                " MP3 (--lossy), fewer versions or no wires (--no-wires)"
            )
        yield sound


def _cards(
    made: MadeVersions, apart: Sequence[Apart], drawn: Sequence[WireSounds], trims: Trims, take_channels: int
) -> Iterator[VersionCard]:
    first = made.versions[0]
    for i, (far, (key, version)) in enumerate(zip((None, *apart), _keyed(made.versions), strict=True)):
        yield VersionCard(
            sound=key,
            heading=version.heading,
            differs=told_of_first(made.versions) if far is None else differs(version, first, far),
            figures=figures_of(version, far, take_channels),
            also=version.also,
            settings=version.settings,
            drawing=drawn[i].drawing,
            warnings=(*version.warnings, *trims.warnings[1 + i]),
        )


def _notes(options: PageOptions, made: MadeVersions, take_s: float) -> Iterator[str]:
    if any(not math.isnan(version.figures.rests_dbfs) for version in made.versions):
        yield "Level in the rests: of noise and of what still rings while the player rests, in the middle of all rests."
    if len(made.versions) > 1:
        yield "Brightness: the middle of a sound's spectrum. Steps: how far two sounds are apart; one is just audible."
    if options.excerpt is not None:
        yield excerpt_note(options.excerpt, take_s)
    if options.lossy:
        yield "The sounds are MP3: the finest differences between versions may be those of the format."
