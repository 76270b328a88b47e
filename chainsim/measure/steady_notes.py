"""The notes of a take, its exact pitch in them, and where they are steady enough to judge a harmony by.

Notes are those of the pitch tracker (`chainsim.dsp.note_events`). Attack and release are left out: a note counts from
50 ms after its beginning to 30 ms before its end. It is steady in the longest stretch of that in which its pitch stays
within 30 cents from the lowest to the highest, if that lasts for at least 80 ms: no slide, scoop or wide vibrato. Of a
stretch that the pitch enters or leaves (a scoop; a slur so short that it is no note of its own) as much is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.dsp import note_rows
from chainsim.dsp.note_events import NoteFinder, NoteRules
from chainsim.dsp.pitch_rows import F0_HZ, ROWS
from chainsim.dsp.pitch_tracker import HIGHEST_OF_RATE, PitchTracker
from chainsim.measure.fundamental import LEAST_PERIODS, WINDOW_S, fundamental_hz
from chainsim.measure.signals import check_rate, one_channel
from chainsim.units import Array

HOP_S = 0.01
"""From one moment at which the pitch is taken to the next."""
AFTER_ATTACK_S, BEFORE_END_S = 0.05, 0.03
STEADY_CENTS, LEAST_STEADY_S = 30.0, 0.08
TRACKED_LATER_S = 0.01
"""How much older than the tracker's newest sample is what it tells: about half of its windows."""
AFTER_S = 0.25
"""Silence after the take, so that the last note's end is found."""
SPAN_FRAMES = 1 << 14


@dataclass(frozen=True)
class SteadyNote:
    """One note of a take.

    Attributes
    ----------
    begin_s, end_s : float
    first, last : int
        Moments, of those of the whole take, from the first after the attack to the one behind the last.
    steady_first, steady_last : int
        Those of its steady stretch, likewise; equal where there is none.
    """

    begin_s: float
    end_s: float
    first: int
    last: int
    steady_first: int
    steady_last: int

    @property
    def steady(self) -> bool:
        """Whether it has a steady stretch."""
        return self.steady_last > self.steady_first


@dataclass(frozen=True)
class SteadyNotes:
    """The notes of one take.

    Attributes
    ----------
    time_s : ndarray, shape (moments,)
    f0_hz : ndarray, shape (moments,)
        NaN outside of notes, and where no tone stands out.
    notes : tuple of SteadyNote, in order of time
    """

    time_s: Array
    f0_hz: Array
    notes: tuple[SteadyNote, ...]


def find_steady_notes(take: npt.ArrayLike, sample_rate_hz: float, range_hz: tuple[float, float]) -> SteadyNotes:
    """Find a take's notes, and its pitch in them.

    Parameters
    ----------
    take : ndarray, shape (frames,)
    sample_rate_hz : float
    range_hz : (low, high)
        Where to look for its pitch, as far up as the sample rate carries it.

    Raises
    ------
    AudioError
        If the take is not one channel of finite samples.
    SettingError
        If the range is upside down or leaves that of the pitch tracker.
    """
    check_rate(sample_rate_hz, "steady notes")
    x = one_channel(take, "steady notes")
    tracked_hz, spans_s = _track(x, sample_rate_hz, range_hz)
    time_s = np.arange(int(x.size / (HOP_S * sample_rate_hz)), dtype=np.float64) * HOP_S
    bounds = [
        np.searchsorted(time_s, (begin_s + AFTER_ATTACK_S, end_s - BEFORE_END_S)).tolist() for begin_s, end_s in spans_s
    ]
    inside = np.zeros(time_s.size, np.bool_)
    for first, last in bounds:
        inside[first:last] = True
    later = np.minimum(((time_s + TRACKED_LATER_S) * sample_rate_hz).astype(np.int64), tracked_hz.size - 1)
    near_hz = np.where(inside, tracked_hz[later], 0.0)
    window_s = np.maximum(WINDOW_S, LEAST_PERIODS / np.maximum(near_hz, 1.0))
    f0_hz = fundamental_hz(x, sample_rate_hz, time_s, near_hz, np.where(inside, window_s, WINDOW_S))
    notes = []
    for (begin_s, end_s), (first, last) in zip(spans_s, bounds, strict=True):
        steady = _steady_stretch(f0_hz[first:last])
        notes.append(SteadyNote(begin_s, end_s, first, max(first, last), first + steady[0], first + steady[1]))
    return SteadyNotes(time_s, f0_hz, tuple(notes))


def _track(x: Array, rate_hz: float, range_hz: tuple[float, float]) -> tuple[Array, list[tuple[float, float]]]:
    """Tracked pitch of every sample, and begin and end of every note in seconds."""
    tracker = PitchTracker(range_hz[0], min(range_hz[1], HIGHEST_OF_RATE * rate_hz), rate_hz)
    finder = NoteFinder(NoteRules(), rate_hz)
    tracked_hz = np.zeros(x.size)
    spans_s: list[tuple[float, float]] = []
    begin_s: float | None = None
    frames = x.size + round(AFTER_S * rate_hz)
    for n0 in range(0, frames, SPAN_FRAMES):
        span = np.zeros(min(SPAN_FRAMES, frames - n0))
        there = x[n0 : n0 + span.size]
        span[: there.size] = there
        rows, found = np.empty((len(ROWS), span.size)), np.empty((note_rows.ROWS, span.size))
        tracker.process(n0, span, rows)
        finder.process(rows, found)
        tracked_hz[n0 : n0 + there.size] = rows[F0_HZ, : there.size]
        began, ended = found[note_rows.ON_AGE_S], found[note_rows.OFF_AGE_S]
        for i in np.flatnonzero((began > 0.0) | (ended > 0.0)).tolist():
            now_s = (n0 + i) / rate_hz
            if ended[i] > 0.0 and begin_s is not None:
                spans_s.append((begin_s, now_s - float(ended[i])))
                begin_s = None
            if began[i] > 0.0:
                begin_s = max(now_s - float(began[i]), 0.0)
    if begin_s is not None:
        spans_s.append((begin_s, x.size / rate_hz))
    return tracked_hz, spans_s


def _steady_stretch(f0_hz: Array) -> tuple[int, int]:
    """First moment and the one behind the last of the longest stretch that is steady; (0, 0) if none is long enough."""
    cents = 1200.0 * np.log2(f0_hz)
    after, before = (round(s / HOP_S) for s in (AFTER_ATTACK_S, BEFORE_END_S))
    best, first = (0, 0), 0
    for last in range(1, cents.size + 1):
        # A moment without a pitch lies within nothing.
        while first < last and not np.ptp(cents[first:last]) <= STEADY_CENTS:
            first += 1
        begin, end = first + after if first else 0, last if last == cents.size else last - before
        if end - begin > best[1] - best[0]:
            best = begin, end
    return best if (best[1] - best[0] - 1) * HOP_S >= LEAST_STEADY_S - 1e-9 else (0, 0)
