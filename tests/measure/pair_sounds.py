"""Dry and wet sounds for the measures of a box: a horn take, bursts of noise, our blocks in the box's place."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np

from chainsim.audio.reading import read_take
from chainsim.graph.rendering import render
from chainsim.resources import take_paths
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Array

RATE_HZ = 48_000.0
HORN_S = 5.0


@functools.cache
def horn(name: str = "lantern_waltz_alto_sax") -> Array:
    """The beginning of a take that is shipped, shape (frames,)."""
    audio, rate_hz, _ = read_take(take_paths()[name])
    assert rate_hz == RATE_HZ
    return np.ascontiguousarray(audio[: round(HORN_S * RATE_HZ), 0])


@functools.cache
def bursts() -> Array:
    """White noise in bursts of half a second, with rests of 0.7 s: rms of 0.1 while it sounds."""
    t = np.arange(round(6.0 * RATE_HZ)) / RATE_HZ
    return np.where(t % 1.2 < 0.5, 0.1, 0.0) * np.random.default_rng(1).standard_normal(t.size)


DRY = {"horn": horn, "noise": bursts}


def boxed(dry: Array, **settings: Any) -> Array:
    """What a block of ours makes of a sound, folded to one channel, tail and all; `type` names the block."""
    lines = [f"{name} = {_toml(value)}" for name, value in settings.items()]
    sketch = parse_sketch("\n".join(['chain = ["box"]', "[blocks.box]", *lines]))
    return np.mean(render(sketch, dry, RATE_HZ).audio, axis=1)


def noisy(wet: Array, frames: int, snr_db: float = 20.0) -> Array:
    """A sound with white noise, so far under the rms of its first frames."""
    rms = float(np.sqrt(np.mean(np.square(wet[:frames])))) * 10.0 ** (-snr_db / 20.0)
    return wet + rms * np.random.default_rng(3).standard_normal(wet.size)


def _toml(value: Any) -> str:
    """As TOML has it; a list of tables is given as it is to be written."""
    return f'"{value}"' if isinstance(value, str) and not value.startswith("[") else str(value)
