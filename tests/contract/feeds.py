"""What contract tests feed to blocks and controllers: sounds, pitches, tempi and moving settings."""

from __future__ import annotations

import math
import zlib

import numpy as np

from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, SILENT_DB, VOICED
from chainsim.dsp.pitch_rows import ROWS as PITCH_ROWS
from chainsim.settings import Spec
from chainsim.units import Array, Audio


def rng_of(*words: object) -> np.random.Generator:
    """A generator of random numbers, the same in every run."""
    return np.random.default_rng(zlib.crc32(repr(words).encode()))


def ends(spec: Spec, rate_hz: float) -> tuple[float, float]:
    """Lowest and highest value a movable setting can have at this rate."""
    assert spec.low is not None
    assert spec.high is not None
    high = min(spec.high, 0.45 * rate_hz) if spec.unit == "Hz" else spec.high
    return -math.inf if spec.may_be_off else min(spec.low, high), high


def row_values(spec: Spec, values: Array) -> Array:
    """What the kernel gets for values in the user's unit."""
    if spec.law != "gain":
        return np.ascontiguousarray(values, dtype=np.float64)
    return 10.0 ** (np.asarray(values) / 20.0)


def tempo_rows(bpm: Array | None, frames: int, rate_hz: float) -> Array:
    """The control rows of a tempo: beats per minute, and the beat."""
    bpm = np.full(frames, 120.0) if bpm is None else bpm
    return np.stack([bpm, np.concatenate([[0.0], np.cumsum(bpm / (60.0 * rate_hz))])[:frames]])


def unpitched(frames: int) -> Array:
    """The pitch rows of silence."""
    rows = np.zeros((len(PITCH_ROWS), frames))
    rows[LEVEL_DB] = SILENT_DB
    return rows


def played(rng: np.random.Generator, frames: int, rate_hz: float) -> Array:
    """Pitch rows of notes that wander and leap, with rests, and with moments that are unsure."""
    rows = unpitched(frames)
    at, f0 = 0, 0.0
    while at < frames:
        length = int(rng.integers(20, 700))
        piece = slice(at, min(at + length, frames))
        now = np.arange(piece.stop - at)
        if rng.random() < 0.75:
            f0 = float(rng.uniform(60.0, 1500.0))
            rows[VOICED, piece], rows[CONFIDENCE, piece] = 1.0, rng.uniform(0.5, 1.0)
            rows[LEVEL_DB, piece] = rng.uniform(-40.0, -6.0)
            if rng.random() < 0.5:
                rows[ONSET_AGE_S, at] = rng.uniform(0.001, 0.02)
        rows[F0_HZ, piece] = f0 * 2.0 ** (0.02 * np.sin(2.0 * np.pi * 5.0 * now / rate_hz))
        at += length
    return rows


def bursts(rng: np.random.Generator, channels: int, frames: int, rate_hz: float, level: float) -> Audio:
    """Tone with a little noise, on and off, each channel its own; one of the rests is digital silence."""
    t = np.arange(frames) / rate_hz
    x = np.empty((channels, frames))
    for c in range(channels):
        tone = np.sin(2.0 * np.pi * rng.uniform(200.0, 900.0) * t)
        on = np.sin(2.0 * np.pi * rng.uniform(6.0, 11.0) * t + rng.uniform(0.0, 3.0)) > -0.2
        x[c] = level * (0.8 * tone * on + 0.05 * rng.standard_normal(frames))
    x[:, 2 * frames // 3 : 3 * frames // 4] = 0.0
    return x


def wander(rng: np.random.Generator, spec: Spec, frames: int, rate_hz: float) -> Array:
    """A row that jumps, glides and rests anywhere in the setting's range; levels are also off."""
    low, high = ends(spec, rate_hz)
    low = -96.0 if low == -math.inf else low
    at, values = 0, np.empty(frames)
    here = rng.uniform(low, high)
    while at < frames:
        length = int(rng.integers(1, 200))
        aim = -math.inf if spec.may_be_off and rng.random() < 0.15 else rng.uniform(low, high)
        kind = rng.integers(3)
        if kind == 0 and math.isfinite(aim) and math.isfinite(here):
            values[at : at + length] = np.linspace(here, aim, length)[: frames - at]
        else:
            values[at : at + length] = aim
        here, at = aim, at + length
    return values


def jumps(rng: np.random.Generator, spec: Spec, frames: int, rate_hz: float) -> Array:
    """A row that is at one or the other end of the setting's range, anew at every sample."""
    return np.where(rng.random(frames) < 0.5, *ends(spec, rate_hz))
