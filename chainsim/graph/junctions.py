"""Small nodes that the graph itself puts in: plain latency, and the fold to one channel."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from chainsim.block import Block, Context, Io
from chainsim.kernel import kernel
from chainsim.settings import Settings, whole
from chainsim.units import Audio


class LatencySettings(Settings):
    samples: int = whole(0, 0, 2**31, "whole samples by which the sound comes later")


@kernel
def delay_whole(x: Audio, ring: Audio, head: Audio, y: Audio) -> None:
    """Fill y with x from ring.shape[1] samples ago; head (1,) is the place in the ring."""
    start = head[0]
    for c in range(x.shape[0]):
        j = start
        for i in range(x.shape[1]):
            y[c, i] = ring[c, j]
            ring[c, j] = x[c, i]
            j = j + 1 if j + 1 < ring.shape[1] else 0
        head[0] = j


class Latency(Block[LatencySettings]):
    """Delays by whole samples; stands for the latency of a device, or aligns a lane."""

    type_name = "latency"
    settings_type = LatencySettings

    def prepare(self, context: Context) -> None:
        self.latency_samples = float(self.settings.samples)
        self._ring = np.zeros((context.channels["in"], max(1, self.settings.samples)))
        self._head = np.zeros(1, np.int64)

    def reset(self) -> None:
        self._ring.fill(0.0)
        self._head.fill(0)

    def process(self, io: Io) -> None:
        if self.settings.samples == 0:
            io.y[:] = io.x
        elif io.frames:
            delay_whole(io.x, self._ring, self._head, io.y)


@kernel
def fold(x: Audio, y: Audio) -> None:
    """Fill y (1, frames) with the mean of the two channels of x."""
    right = x.shape[0] - 1
    for i in range(x.shape[1]):
        y[0, i] = 0.5 * (x[0, i] + x[right, i])


class Fold(Block[Settings]):
    """Folds to one channel: the mean of left and right."""

    type_name = "fold"

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 1

    def process(self, io: Io) -> None:
        fold(io.x, io.y)
