"""What a take must have for a page: enough of it, and something to hear."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from chainsim.audio.reading import TakeReader, open_take
from chainsim.batch.listening.excerpt import Excerpt, check_excerpt
from chainsim.errors import AudioError
from chainsim.measure.loudness import LoudnessMeter
from chainsim.units import Audio

LEAST_S = 0.4
"""The shortest that has a loudness: one gating block of ITU-R BS.1770-5."""
READ_FRAMES = 1 << 16


def check_page_take(path: Path, excerpt: Excerpt | None) -> None:
    """Refuse a take of which the page would have nothing to hear.

    Raises
    ------
    AudioError
        If it cannot be read, or it, or the excerpt, is shorter than 0.4 s or nowhere over -70 LUFS.
    SettingError
        If it has no such excerpt.
    """
    with open_take(path) as take:
        rate_hz, frames = take.sample_rate_hz, take.frames
        if excerpt is not None:
            check_excerpt(excerpt, frames / rate_hz)
        from_s, to_s = (0.0, frames / rate_hz) if excerpt is None else (excerpt.from_s, excerpt.to_s)
        first, last = round(from_s * rate_hz), min(round(to_s * rate_hz), frames)
        part = "" if excerpt is None else f"the part from {from_s:g} s to {last / rate_hz:g} s "
        if last - first < LEAST_S * rate_hz:
            lasts_s = math.floor(100.0 * (last - first) / rate_hz) / 100.0
            raise AudioError(f"{path}: {part}lasts {lasts_s:.2f} s, a page needs {LEAST_S:g} s of sound")
        meter = LoudnessMeter(rate_hz, take.channels)
        for piece in _pieces(take, first, last):
            meter.add(piece)
            if meter.result().integrated_lufs > -math.inf:
                return
    raise AudioError(f"{path}: {part}is silent, or quieter than -70 LUFS: there would be nothing to hear on the page")


def _pieces(take: TakeReader, first: int, last: int) -> Iterator[Audio]:
    for at in range(first, last, READ_FRAMES):
        yield np.ascontiguousarray(take.read(at, min(READ_FRAMES, last - at)))
