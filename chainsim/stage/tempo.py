"""The tempo as a control: beats per minute and the running beat, in closed form between tempo changes."""

from __future__ import annotations

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed
from chainsim.units import Array


class TempoSettings(Settings):
    changes: list[list[float]]
    """(time in seconds, beats per minute) from which each tempo holds; the first at 0."""
    first_beat_s: float = fixed(0.0, 0.0, 86_400.0, "s", "when beat 0 falls; what comes before it counts below 0")


@kernel
def tempo_rows(n0: int, start: Array, bpm: Array, beat: Array, rate_hz: float, y: Array) -> None:
    """Fill y: row 0 bpm, row 1 the beat, exact at every absolute sample."""
    k = 0
    for i in range(y.shape[1]):
        n = n0 + i
        while k + 1 < start.shape[0] and n >= start[k + 1]:
            k += 1
        y[0, i] = bpm[k]
        y[1, i] = beat[k] + (n - start[k]) * bpm[k] / (60.0 * rate_hz)


class Tempo(Block[TempoSettings]):
    """Rows: bpm, and beat (quarters since beat 0)."""

    type_name = "tempo"
    settings_type = TempoSettings
    audio_inputs = ()
    rows = ("bpm", "beat")

    def prepare(self, context: Context) -> None:
        self._rate_hz = context.sample_rate_hz
        times, self._bpm = (np.array(v) for v in zip(*self.settings.changes, strict=True))
        self._start = np.round(times * self._rate_hz)
        beats = np.diff(self._start) * self._bpm[:-1] / (60.0 * self._rate_hz)
        since_start = np.concatenate([[0.0], np.cumsum(beats)])
        first = round(self.settings.first_beat_s * self._rate_hz)
        k = int(np.searchsorted(self._start, first, "right")) - 1
        self._beat = since_start - (since_start[k] + (first - self._start[k]) * self._bpm[k] / (60.0 * self._rate_hz))

    def process(self, io: Io) -> None:
        tempo_rows(io.n0, self._start, self._bpm, self._beat, self._rate_hz, io.y)
