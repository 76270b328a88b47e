"""A controller written as points in time, straight lines between them.

In seconds the lines are straight in time; in bars they are straight in beats, so that they bend with the tempo.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from pydantic import Field, field_validator, model_validator

from chainsim.block import Block, Context, Io
from chainsim.kernel import kernel
from chainsim.music.meter import parse_meter, quarters_at
from chainsim.settings import Settings, words
from chainsim.stage.breakpoint_checks import Point, check_points
from chainsim.stage.breakpoint_files import SUFFIXES, read_breakpoints
from chainsim.units import Array


class BreakpointsSettings(Settings):
    alternatives = (("points", "file"),)
    points: list[list[float | str]] | None = Field(
        None,
        description='[seconds, position] pairs, or [bar, position] pairs such as ["3:1", 0.5]; positions 0 to 1',
        json_schema_extra={"unit": "1"},
    )
    file: str | None = words(None, "in place of points, a .csv or .toml file in the sketch's own folder")

    @field_validator("points", mode="after")
    @classmethod
    def _in_order(cls, points: list[list[float | str]] | None) -> list[list[float | str]] | None:
        if points is not None:
            if not points:
                raise ValueError("allowed at least one point")
            check_points(points, [f"[{k}]" for k in range(len(points))])
        return points

    @field_validator("file")
    @classmethod
    def _is_readable(cls, file: str | None) -> str | None:
        if file is not None and not file.lower().endswith(SUFFIXES):
            raise ValueError(f'= "{file}", allowed the name of a {" or ".join(SUFFIXES)} file')
        return file

    @model_validator(mode="after")
    def _one_source(self) -> BreakpointsSettings:
        if (self.points is None) == (self.file is None):
            raise ValueError("allowed exactly one of points and file")
        return self


@kernel
def line_segments(x: Array, at: Array, value: Array, first: int, y: Array) -> None:
    """Fill y (1, frames) with the line through (at, value) at each x; x rises, `first` is the last point by x[0]."""
    k = first
    for i in range(y.shape[1]):
        while k + 1 < at.shape[0] and x[i] >= at[k + 1]:
            k += 1
        if k < 0:
            y[0, i] = value[0]
        elif k + 1 == at.shape[0]:
            y[0, i] = value[k]
        else:
            y[0, i] = value[k] + (value[k + 1] - value[k]) * ((x[i] - at[k]) / (at[k + 1] - at[k]))


class Breakpoints(Block[BreakpointsSettings]):
    """A course drawn beforehand: straight lines between points in time."""

    type_name = "breakpoints"
    settings_type = BreakpointsSettings
    audio_inputs = ()
    control_inputs = ("tempo",)
    rows = ("position",)
    reads_files = True

    @classmethod
    def controls_for(cls, settings: Any) -> tuple[str, ...]:
        in_seconds = settings.points is not None and not isinstance(settings.points[0][0], str)
        return () if in_seconds else cls.control_inputs

    def prepare(self, context: Context) -> None:
        points = self._points(context)
        self._in_bars = isinstance(points[0][0], str)
        if self._in_bars:
            meter = parse_meter(context.meter)
            self._at = np.array([quarters_at(str(at), meter) for at, _ in points])
        else:
            self._at = np.round(np.array([at for at, _ in points], dtype=np.float64) * context.sample_rate_hz)
        self._value = np.array([position for _, position in points])

    def _points(self, context: Context) -> list[Point]:
        if self.settings.file is not None:
            return read_breakpoints(context.assets.path(self.settings.file))
        points = self.settings.points or []
        return check_points(points, [f"points[{k}]" for k in range(len(points))])

    def process(self, io: Io) -> None:
        x = io.control["tempo"][1] if self._in_bars else np.arange(io.n0, io.n0 + io.frames, dtype=np.float64)
        first = int(np.searchsorted(self._at, x[0], "right")) - 1 if io.frames else -1
        line_segments(x, self._at, self._value, first, io.y)
