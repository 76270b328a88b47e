"""The line of a sound's pitch, with gaps where it is unsure."""

from __future__ import annotations

import numpy as np

from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, ROWS, VOICED
from chainsim.dsp.pitch_tracker import HIGHEST_OF_RATE, PitchTracker
from chainsim.listen.page.model import PitchPiece
from chainsim.measure.signals import pieces
from chainsim.music.horns import ANY_HORN_HZ
from chainsim.units import Array

POINTS_PER_S = 20.0
SURE = 0.5
"""Confidence from which on an estimate is drawn."""
SPAN_FRAMES = 1 << 14


def pitch_line(
    audio: Array, sample_rate_hz: float, range_hz: tuple[float, float] | None = None
) -> tuple[PitchPiece, ...]:
    """Follow the pitch of a sound, some 20 points a second.

    Parameters
    ----------
    audio : ndarray, shape (frames, channels)
        Of several channels the mean is heard.
    sample_rate_hz : float
    range_hz : (low, high), optional
        Where to look, as far up as the sample rate carries it; by default where any horn plays.
    """
    low_hz, high_hz = range_hz or ANY_HORN_HZ
    tracker = PitchTracker(low_hz, min(high_hz, HIGHEST_OF_RATE * sample_rate_hz), sample_rate_hz)
    hop, n0 = tracker.hop_samples, 0
    kept = [np.zeros((len(ROWS), 0))]
    for piece in pieces(audio, SPAN_FRAMES):
        rows = np.empty((len(ROWS), piece.shape[1]))
        tracker.process(n0, np.ascontiguousarray(piece.mean(axis=0)), rows)
        kept.append(rows[:, (hop - 1 - n0) % hop :: hop].copy())
        n0 += piece.shape[1]
    rows = np.concatenate(kept, axis=1)
    sure = (rows[VOICED] > 0.5) & (rows[CONFIDENCE] >= SURE)
    times_s = np.arange(1, rows.shape[1] + 1, dtype=np.float64) * (hop / sample_rate_hz)
    each = max(1, round(sample_rate_hz / hop / POINTS_PER_S))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], sure.astype(np.int8), [0]])))
    found = (_thinned(times_s[a:b], rows[F0_HZ, a:b], each) for a, b in zip(edges[::2], edges[1::2], strict=True))
    return tuple(piece for piece in found if piece is not None)


def _thinned(times_s: Array, pitches_hz: Array, each: int) -> PitchPiece | None:
    """Middle of so many estimates, so that a point more or less is never one stray estimate; None if there are few."""
    groups = [slice(first, first + each) for first in range(0, len(times_s), each)]
    if len(groups) > 1 and len(times_s) % each:
        groups[-2:] = [slice(groups[-2].start, None)]
    if len(times_s) < each:
        return None
    middle = np.array([np.median(pitches_hz[group]) for group in groups])
    return PitchPiece(np.array([times_s[group].mean() for group in groups]), middle)
