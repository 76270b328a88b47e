"""What the reader is to know of a page as a whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from chainsim.batch.listening.excerpt import Excerpt
from chainsim.listen.page.model import PageSound
from chainsim.listen.page.sounds import RawSound
from chainsim.measure.one_loudness import MOST_TRIM_DB, Trims

MANY_MB = 400
"""Of sound once it is decoded; phones have let a page of that size go, common knowledge, no source."""
BYTES_PER_SAMPLE = 4
NAMED = 3
"""How many sounds are called by name."""


def loudness_notes(raw: Sequence[RawSound], trims: Trims) -> Iterator[str]:
    """That all are equally loud, or which are not.

    Parameters
    ----------
    raw : sequence of RawSound
    trims : Trims
        Of these.
    """
    apart = [
        sound.name for sound, trim, words in zip(raw, trims.trims_db, trims.warnings, strict=True) if words and trim
    ]
    but = " but those named below" if apart else ""
    yield (
        f"All sounds{but} are equally loud, {trims.reached_lufs:.1f} LUFS, by one gain each; nothing is compressed. The"
        " louder of two would seem the better. You can switch to the levels as they come."
    )
    if apart:
        more = f" and {len(apart) - NAMED} more" if len(apart) > NAMED else ""
        yield (
            f"Not as loud as the others: {', '.join(apart[:NAMED])}{more}. That would take more than"
            f" {MOST_TRIM_DB:g} dB, and such a gain brings up what nobody would hear on stage."
        )
    yield from trims.of_all


def excerpt_note(excerpt: Excerpt, take_s: float) -> str:
    """Which part of the take is there."""
    return (
        f"The page has {excerpt.from_s:g} ... {min(excerpt.to_s, round(take_s, 1)):g} s of the take; the figures are"
        " those of all of it."
    )


def memory_notes(sounds: Iterable[PageSound]) -> Iterator[str]:
    """That a page may be too much for a phone, if it may."""
    switched = [sound for sound in sounds if sound.role in ("take", "version")]
    size_mb = sum(sound.frames * sound.channels for sound in switched) * BYTES_PER_SAMPLE / 1e6
    if size_mb > MANY_MB:
        yield (
            f"To be switched in time, {len(switched)} sounds take {size_mb:.0f} MB of memory. A phone may have less,"
            " and then waits at each change: fewer versions or a shorter part of the take (--excerpt) need less."
        )
