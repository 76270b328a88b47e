"""A controller written as points in time, straight lines between them."""

from __future__ import annotations

import math

import numpy as np
from pydantic import field_validator

from chainsim.block import Block, Context, Io
from chainsim.kernel import kernel
from chainsim.settings import Settings
from chainsim.units import Array


class BreakpointsSettings(Settings):
    points: list[list[float]]
    """(time in seconds, position 0 to 1), in order of time."""

    @field_validator("points", mode="after")
    @classmethod
    def _in_order(cls, points: list[list[float]]) -> list[list[float]]:
        if not points or any(len(p) != 2 or not all(map(math.isfinite, p)) for p in points):
            raise ValueError("allowed a list of [time_s, position] pairs")
        times = [p[0] for p in points]
        if times != sorted(set(times)) or times[0] < 0.0:
            raise ValueError("times must rise from point to point and not be negative")
        if any(not 0.0 <= p[1] <= 1.0 for p in points):
            raise ValueError("positions must lie in 0 ... 1")
        return points


@kernel
def line_segments(n0: int, at: Array, value: Array, y: Array) -> None:
    """Fill y (1, frames) with the line through (at, value) at each absolute sample."""
    k = -1
    for i in range(y.shape[1]):
        n = n0 + i
        while k + 1 < at.shape[0] and n >= at[k + 1]:
            k += 1
        if k < 0:
            y[0, i] = value[0]
        elif k + 1 == at.shape[0]:
            y[0, i] = value[k]
        else:
            y[0, i] = value[k] + (value[k + 1] - value[k]) * ((n - at[k]) / (at[k + 1] - at[k]))


class Breakpoints(Block[BreakpointsSettings]):
    """One row: the position."""

    type_name = "breakpoints"
    settings_type = BreakpointsSettings
    audio_inputs = ()
    rows = ("position",)

    def prepare(self, context: Context) -> None:
        points = np.array(self.settings.points, dtype=np.float64)
        self._at = np.round(points[:, 0] * context.sample_rate_hz)
        self._value = np.ascontiguousarray(points[:, 1])

    def process(self, io: Io) -> None:
        line_segments(io.n0, self._at, self._value, io.y)
