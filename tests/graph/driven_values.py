"""A block that tells where its settings stand, and what moves them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from chainsim.block import Block, Io, register
from chainsim.graph.rendering import render
from chainsim.settings import Settings, level, movable
from chainsim.sketch.loading import parse_sketch

FS = 8_000
Row = npt.NDArray[np.float64]
CLOSE = 1e-6


class ValuesSettings(Settings):
    level_db: float = level(0.0, -96.0, 24.0, "travels as a gain")
    cutoff_hz: float = movable(1000.0, 20.0, 5000.0, "Hz", "travels in its logarithm", ramp_ms=20.0)
    amount: float = movable(0.5, -1.0, 1.0, "1", "travels evenly", ramp_ms=5.0)
    time_ms: float = movable(10.0, 1.0, 500.0, "ms", "does not travel", law="step")


@register("test_values")
class Values(Block[ValuesSettings]):
    """Passes the sound on, and tells where its settings stand."""

    readings = ("level", "cutoff", "amount", "time")

    def process(self, io: Io) -> None:
        io.y[:] = io.x
        moving = io.moving
        for row, values in enumerate((moving.level_db, moving.cutoff_hz, moving.amount, moving.time_ms)):
            io.readings[row] = values


READINGS = [f"v:{name}" for name in Values.readings]
HEAD = 'chain = ["v"]\n[blocks.v]\ntype = "test_values"\n'


def rows_of(text: str, seconds: float, x: float = 0.0) -> dict[str, Row]:
    rendered = render(parse_sketch(text), np.full(round(seconds * FS), x), FS, probes=READINGS)
    return {name.removeprefix("v:"): rendered.probes[name][: round(seconds * FS), 0] for name in READINGS}


def smoothed(target: Row, ramp_ms: float, fs: float = FS) -> Row:
    a = np.exp(-1000.0 / (ramp_ms * fs))
    y, _ = lfilter([1.0 - a], [1.0, -a], target, zi=[a * target[0]])
    return np.asarray(y)


def cues(*at: tuple[float, str]) -> str:
    return "".join(f'[[cues]]\nat_s = {at_s}\npatch = "{patch}"\n' for at_s, patch in at)
