"""Marks on the waveform of a tone, one in a period or a few, each where the sound is most like at the mark before.

    rho(d) = 2 sum x[t] x[t + d] / sum (x[t]^2 + x[t + d]^2),   t over one period about the last mark              (1)

The next mark lies where rho is greatest near the period that a pitch tracker tells, between the samples by a parabola:
so the marks keep their place in the period, whatever the tracker's own small errors, and follow every vibrato.

Sources: P. McLeod, G. Wyvill, "A smarter way to find pitch", ICMC 2005, for (1); E. Moulines, F. Charpentier,
"Pitch-synchronous waveform processing techniques", Speech Communication 9 (1990), 453-467, for marks a period apart.
"""

from __future__ import annotations

import math

from chainsim.kernel import kernel
from chainsim.units import Audio

REACH = 0.03
"""How far from the tracked period, relative to it, the next mark may lie."""

LEAST_SAMPLES = 1.5
"""And at least so many samples."""

SHORTEST = 4.0
"""Samples of the shortest period that is marked."""

LEAST_WINDOW_S = 0.003
"""A shorter window is swayed by noise."""

MARK_S = 0.004
"""Of high notes several periods pass between two marks, as many as do in this time."""

NEW_NOTE = 0.05
"""Change of the tracked period, relative to it, that is more than vibrato."""

OCTAVE_DOUBT = 0.05
"""By how much a period more than half as long again has to fit better than the last one."""


@kernel
def likeness(line: Audio, begin: int, lag: int, length: int) -> float:
    """Equation (1) over line[:, begin : begin + length] and the same `lag` samples later; 0 in silence."""
    product, energy = 0.0, 0.0
    for c in range(line.shape[0]):
        p0, p1, p2, p3, e0, e1, e2, e3 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for t in range(begin, begin + length - 3, 4):
            a0, a1, a2, a3 = line[c, t], line[c, t + 1], line[c, t + 2], line[c, t + 3]
            b0, b1, b2, b3 = line[c, t + lag], line[c, t + lag + 1], line[c, t + lag + 2], line[c, t + lag + 3]
            p0 += a0 * b0
            p1 += a1 * b1
            p2 += a2 * b2
            p3 += a3 * b3
            e0 += a0 * a0 + b0 * b0
            e1 += a1 * a1 + b1 * b1
            e2 += a2 * a2 + b2 * b2
            e3 += a3 * a3 + b3 * b3
        product += (p0 + p1) + (p2 + p3)
        energy += (e0 + e1) + (e2 + e3)
    return 2.0 * product / energy if energy > 1e-20 else 0.0


@kernel
def next_period(line: Audio, size: int, newest: int, mark: float, period: float, window: int) -> tuple[float, float]:
    """Period that follows `mark`, in samples, and how alike (-1 to 1) its two ends are.

    Parameters
    ----------
    line : ndarray, shape (channels, 2 * size)
        The sound, written twice: sample n at n mod size and at size + n mod size.
    size : int
        A power of two.
    newest : int
        Number of the newest sample.
    mark : float
        Where the last mark lies.
    period : float
        As tracked, in samples.
    window : int
        Samples to compare, at most size - period - 8.
    """
    most = math.floor(period + max(REACH * period, LEAST_SAMPLES))
    end = max(min(math.floor(mark + 0.5) + window // 2, newest - most), math.floor(mark + 0.5))
    most = min(most, newest - end)
    least = math.ceil(max(period - max(REACH * period, LEAST_SAMPLES), SHORTEST - 1.0))
    if most < least:
        return period, 0.0
    begin = (end - window + 1) & (size - 1)
    lag = min(max(math.floor(period + 0.5), least), most)
    here = likeness(line, begin, lag, window)
    below = likeness(line, begin, lag - 1, window)
    above = likeness(line, begin, lag + 1, window) if lag < most else -2.0
    while above > here and lag < most:
        lag += 1
        below, here = here, above
        above = likeness(line, begin, lag + 1, window) if lag < most else -2.0
    while below > here and lag > least:
        lag -= 1
        above, here = here, below
        below = likeness(line, begin, lag - 1, window)
    curved = below - 2.0 * here + above
    if above == -2.0 or below > here or not curved < 0.0:  # not a peak, or no number
        return float(lag), here
    return lag + 0.5 * (below - above) / curved, here


@kernel
def periods_in(period: float, longest: float, rate_hz: float) -> int:
    """How many periods lie between two marks: one, or as many as pass in `MARK_S`."""
    return int(max(math.floor(min(MARK_S * rate_hz, longest) / period), 1))


@kernel
def whole_periods(period: float, least: int) -> int:
    """Samples of as many periods as make a window of at least `least`: of part of a period, rho would be biased."""
    return math.floor(math.ceil(least / period) * period + 0.5)


@kernel
def best_period(
    line: Audio,
    size: int,
    newest: int,
    mark: float,
    wanted: float,
    last: float,
    longest: float,
    rate_hz: float,
    least_window: int,
) -> tuple[float, float, float]:
    """Period, way to the next mark, likeness: of the pitch that is known, or the last period's where that fits better.

    The track may be ahead of the sound here, or slip by an octave: a period twice as long always fits, too. `last` is 0
    for none.
    """
    some = periods_in(wanted, longest, rate_hz)
    window = whole_periods(wanted, least_window)
    span, alike = next_period(line, size, newest, mark, some * wanted, window)
    if last > 0.0:
        others = periods_in(last, longest, rate_hz)
        window = whole_periods(last, least_window)
        other, still = next_period(line, size, newest, mark, others * last, window)
        if still + (OCTAVE_DOUBT if wanted > 1.5 * last else 0.0) >= alike:
            return other / others, other, still
    return span / some, span, alike
