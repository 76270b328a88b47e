"""The tempo map of a MIDI file: seconds to ticks and back, exact in whole microseconds a quarter."""

from __future__ import annotations

import bisect
from collections.abc import Sequence

MICROSECONDS_A_MINUTE = 60_000_000
SLOWEST_MICROSECONDS = (1 << 24) - 1
"""What three bytes hold."""
DEFAULT_MICROSECONDS = 500_000
"""120 quarters a minute, where a file says nothing (Standard MIDI Files 1.0)."""


def quarter_microseconds(tempo_bpm: float) -> int:
    """Microseconds a quarter lasts, as a file holds it."""
    return min(max(round(MICROSECONDS_A_MINUTE / tempo_bpm), 1), SLOWEST_MICROSECONDS)


class TempoMap:
    """Tempo changes at ticks.

    Parameters
    ----------
    changes : sequence of (tick, microseconds a quarter)
        In order; of several at one tick the last counts. Before the first, 120 quarters a minute.
    ticks_per_quarter : int
    """

    def __init__(self, changes: Sequence[tuple[int, int]], ticks_per_quarter: int) -> None:
        self._per_quarter = ticks_per_quarter
        self.changes: list[tuple[int, int]] = [(0, DEFAULT_MICROSECONDS)]
        for tick, microseconds in changes:
            if tick == self.changes[-1][0]:
                self.changes.pop()
            self.changes.append((tick, microseconds))
        self._ticks = [tick for tick, _ in self.changes]
        # Microseconds times ticks a quarter, so that they stay whole numbers.
        self._begins = [0]
        for (tick, microseconds), (after, _) in zip(self.changes, self.changes[1:], strict=False):
            self._begins.append(self._begins[-1] + (after - tick) * microseconds)

    def seconds(self, tick: int) -> float:
        """Time in seconds of a tick."""
        i = bisect.bisect_right(self._ticks, tick) - 1
        begin, microseconds = self.changes[i]
        return (self._begins[i] + (tick - begin) * microseconds) / (1e6 * self._per_quarter)

    def tick(self, time_s: float) -> int:
        """Nearest tick of a time in seconds, at least 0."""
        wanted = time_s * 1e6 * self._per_quarter
        i = max(bisect.bisect_right(self._begins, wanted) - 1, 0)
        begin, microseconds = self.changes[i]
        return max(round(begin + (wanted - self._begins[i]) / microseconds), 0)


def tempo_map(tempi: Sequence[tuple[float, float]], ticks_per_quarter: int) -> TempoMap:
    """Tempo map of (time in seconds, beats per minute) pairs, in order, the first at 0."""
    changes: list[tuple[int, int]] = []
    for time_s, bpm in tempi:
        changes.append((TempoMap(changes, ticks_per_quarter).tick(time_s), quarter_microseconds(bpm)))
    return TempoMap(changes, ticks_per_quarter)
