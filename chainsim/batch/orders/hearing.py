"""What one hears of an order beside another, in a few words, from the figures of both."""

from __future__ import annotations

import math
from collections.abc import Iterator

from chainsim.batch.sounds.sound_figures import SoundFigures

BRIGHTER = 1.1
"""Ratio of two centroids: the brightness that a listener tells apart for sure. Common practice, no source."""
LOUDER_LU = 1.0
LONGER_S, LONGER = 0.1, 1.1
RESTS_DB, SILENT_DBFS = 3.0, -120.0


def beside(figures: SoundFigures, other: SoundFigures) -> str:
    """How a sound differs from another: "brighter, 2.1 LU louder, rings 0.8 s longer"; empty if no figure tells.

    Parameters
    ----------
    figures, other : SoundFigures
        Of two sounds of one take, as they come.
    """
    return ", ".join(_words(figures, other))


def _words(figures: SoundFigures, other: SoundFigures) -> Iterator[str]:
    ratio = figures.centroid_hz / other.centroid_hz if other.centroid_hz > 0.0 else math.nan
    if ratio >= BRIGHTER or ratio <= 1.0 / BRIGHTER:
        yield "brighter" if ratio > 1.0 else "darker"
    louder_lu = figures.two_loudspeakers_lufs - other.two_loudspeakers_lufs
    if math.isfinite(louder_lu) and abs(louder_lu) >= LOUDER_LU:
        yield f"{abs(louder_lu):.1f} LU {'louder' if louder_lu > 0.0 else 'softer'} as it comes"
    longer_s = figures.tail_s - other.tail_s
    if abs(longer_s) >= LONGER_S and max(figures.tail_s, other.tail_s) >= LONGER * min(figures.tail_s, other.tail_s):
        yield f"rings {abs(longer_s):.1f} s {'longer' if longer_s > 0.0 else 'shorter'}"
    louder_db = max(figures.rests_dbfs, SILENT_DBFS) - max(other.rests_dbfs, SILENT_DBFS)
    if abs(louder_db) >= RESTS_DB:
        yield f"rests {abs(louder_db):.0f} dB {'louder' if louder_db > 0.0 else 'quieter'}"
    if figures.gate_openings is not None and other.gate_openings is not None:
        more = figures.gate_openings - other.gate_openings
        if more:
            yield f"its gate opens {abs(more)} x {'more' if more > 0 else 'less'}"
