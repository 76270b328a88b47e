"""The tempo that a foot taps, whatever one bad tap among them does.

Each tap gets a whole number of beats b_k, where most of the taps just before it expect it, one beat being at first the
median of the intervals. The time of a beat is then the median of the slopes through all pairs of taps,

    T = median of (t_j - t_i) / (b_j - b_i),   b_i < b_j                                        (1)

of which a tap that is late, early or doubled spoils 2 in n; a missed one only leaves a number out.

Source: Theil, Proc. Kon. Ned. Akad. Wetensch. A 53 (1950) 386; Sen, J. Am. Stat. Assoc. 63 (1968) 1379.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from statistics import median, median_high

import numpy as np

from chainsim.errors import SettingError
from chainsim.units import Array

CLOSEST_S, FURTHEST_S = 0.1, 3.0
SLOWEST_BPM, FASTEST_BPM = 20.0, 400.0
MOST_TAPS = 256

_RECENT = 5
"""Taps that say where they expect the next one: one bad among them has no majority, and no error piles up."""
_ROUNDING = 1e-9
"""Relative: times that are written in decimals are not exact."""


def tempo_of_taps(times_s: Sequence[float]) -> float:
    """Tempo of a row of taps.

    Parameters
    ----------
    times_s : sequence of float
        2 to 256 times in seconds, each 0.1 to 3 s after the one before.

    Returns
    -------
    float
        Beats per minute, 20 to 400. From 5 taps on it is the same with one of them anywhere.

    Raises
    ------
    SettingError
        If there are too few or too many taps, two are too close or too far apart, or the tempo lies outside its range.
    """
    _check(times_s)
    bpm = _tempo(times_s)
    if not _in_range(bpm):
        raise SettingError(f"taps: their tempo = {bpm:.4g} bpm, allowed {SLOWEST_BPM:g} ... {FASTEST_BPM:g} bpm")
    return _limited(bpm)


def tempo_so_far(times_s: Sequence[float]) -> float | None:
    """Tempo of taps that may go on; None where they make none of 20 to 400 bpm yet.

    Raises
    ------
    SettingError
        If there are too many, or two are too close or too far apart.
    """
    if len(times_s) < 2:
        return None
    _check(times_s)
    bpm = _tempo(times_s)
    return _limited(bpm) if _in_range(bpm) else None


def tempi_of_taps(times_s: Sequence[float]) -> list[tuple[float, float]]:
    """Tempo from each tap on, as far as the taps up to it tell.

    Parameters
    ----------
    times_s : sequence of float
        As for `tempo_of_taps`.

    Returns
    -------
    list of (time in seconds, beats per minute)
        One entry for each tap from the second on, but none where the taps so far make no tempo of 20 to 400 bpm: two
        that stand close at the beginning say nothing yet.

    Raises
    ------
    SettingError
        As `tempo_of_taps`.
    """
    tempo_of_taps(times_s)
    tempi = [(float(times_s[n]), tempo_so_far(times_s[: n + 1])) for n in range(1, len(times_s))]
    return [(time_s, bpm) for time_s, bpm in tempi if bpm is not None]


def _in_range(bpm: float) -> bool:
    return SLOWEST_BPM * (1.0 - _ROUNDING) <= bpm <= FASTEST_BPM * (1.0 + _ROUNDING)


def _limited(bpm: float) -> float:
    return min(max(bpm, SLOWEST_BPM), FASTEST_BPM)


def _check(times_s: Sequence[float]) -> None:
    if not 2 <= len(times_s) <= MOST_TAPS:
        raise SettingError(f"taps: {len(times_s)} of them, allowed 2 ... {MOST_TAPS}")
    if not np.all(np.isfinite(times_s)):
        raise SettingError("taps: allowed finite times in seconds")
    for k, (before, after) in enumerate(itertools.pairwise(times_s)):
        if not CLOSEST_S - _ROUNDING <= after - before <= FURTHEST_S + _ROUNDING:
            found = (
                f"taps[{k}] = {before:g} s and taps[{k + 1}] = {after:g} s are {1000.0 * (after - before):.4g} ms apart"
            )
            raise SettingError(f"{found}, allowed {1000.0 * CLOSEST_S:g} ... {1000.0 * FURTHEST_S:g} ms, in order")


def _tempo(times_s: Sequence[float]) -> float:
    """Equation (1), in beats per minute."""
    times = np.array(times_s, dtype=np.float64)
    beats = _beats(times)
    i, j = np.triu_indices(len(times), 1)
    apart = beats[j] - beats[i]
    used = apart > 0.0
    return float(60.0 / np.median((times[j] - times[i])[used] / apart[used]))


def _beats(times: Array) -> Array:
    """A whole number of beats for each tap.

    The upper median: among four intervals, of which a doubled tap has halved two, it is a whole one.
    """
    beat_s = median_high(np.diff(times))
    beats = np.zeros(len(times))
    for k in range(1, len(times)):
        since = slice(max(k - _RECENT, 0), k)
        beats[k] = round(median(beats[since] + (times[k] - times[since]) / beat_s))
    return beats
