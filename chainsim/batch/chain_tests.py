"""The test signals for a chain, each with what is read from what comes out."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from chainsim.batch.chain_under_test import ChainUnderTest
from chainsim.measure.arrival import Arrival, find_copies
from chainsim.measure.filter_response import BandSounds, FilterResponse, filter_response
from chainsim.measure.gate_ramps import (
    FAST_DB_PER_S,
    SLOW_DB_PER_S,
    SMALLEST_STEP_DB,
    FastRamp,
    GateFigures,
    crossing_dbfs,
    opening_dbfs,
    ramp_gain_db,
    read_fast_ramp,
    tone,
    without_delay,
)
from chainsim.measure.sine_distortion import SineFigures, measure_sine, sine_frequency
from chainsim.units import Array, Audio, db_to_gain

STEPS_DBFS = tuple(float(level) for level in range(-70, 5, 5))
STEP_S, STEP_READ_S, STEP_FADE_S = 0.25, 0.1, 0.01
NOISE_S, NOISE_DBFS, NOISE_SEED = 0.5, -30.0, 23
LONGEST_WAIT_S = 5.0
"""So long a tail is listened to: with 45 dB above its noise, enough for 6.7 s of decay time."""
LATER_DB = 0.3
"""What closes at a higher level than it opened is no gate; so much is the error of both."""
CLICK_AT = 2048
ROUNDING = 1e-25
CLICK_LATER = 7 * 2048
"""0.30 s at 48 kHz, on the grid of transforms, and no multiple of a period that a motion is likely to have."""


@dataclass(frozen=True)
class ClickTest:
    """A click's response from the click on, what came out for silence, and how much a later click sounded otherwise."""

    response: Audio
    idle: Audio
    change_db: float


def click_test(chain: ChainUnderTest, sample_rate_hz: float) -> ClickTest:
    """Send nothing, a click of 0 dBFS, and one that comes later."""
    wait = chain.latency + round(min(max(chain.tail_s, 0.3), LONGEST_WAIT_S) * sample_rate_hz)
    again = min(wait, chain.latency + round(sample_rate_hz))
    frames = max(CLICK_AT + wait, CLICK_AT + CLICK_LATER + again)
    idle = chain.send(np.zeros(1), frames)
    responses = []
    for at, length in ((CLICK_AT, wait), (CLICK_AT + CLICK_LATER, again)):
        click = np.zeros(at + 1)
        click[at] = 1.0
        responses.append((chain.send(click, at + length) - idle[:, : at + length])[:, at:])
    first, second = responses
    change, whole = (float(np.sum(h**2)) for h in (second - first[:, :again], first[:, :again]))
    change_db = 10.0 * math.log10(change / whole) if change > ROUNDING * whole else -math.inf
    return ClickTest(first, idle[:, CLICK_AT:], change_db)


def noise_test(chain: ChainUnderTest, sample_rate_hz: float) -> tuple[Arrival, ...]:
    """Send white noise and look for its copies in what comes out."""
    frames = round(NOISE_S * sample_rate_hz)
    x = db_to_gain(NOISE_DBFS) * np.random.default_rng(NOISE_SEED).standard_normal(frames)
    later = round(min(max(chain.tail_s, 0.3), 1.0) * sample_rate_hz)
    return find_copies(x, chain.send(x, frames + chain.latency + later), sample_rate_hz)


def band_test(chain: ChainUnderTest, sounds: BandSounds, level_dbfs: float) -> FilterResponse:
    """Send the two broadband sounds, each until what went before is gone, and one period more."""
    settling = chain.latency + round(min(max(0.5 * chain.tail_s, 0.2), 3.0) * sounds.sample_rate_hz)
    heard = []
    for period in sounds.periods:
        x = np.take(period, np.arange(-settling, sounds.frames), mode="wrap")
        heard.append(chain.send(x, x.size)[:, settling:])
    return filter_response(sounds, heard, level_dbfs)


def sine_test(chain: ChainUnderTest, near_hz: float, sample_rate_hz: float) -> tuple[float, tuple[SineFigures, ...]]:
    """Send a sine whose level rises in steps; returns its frequency and the figures of every step."""
    step, read = round(STEP_S * sample_rate_hz), round(STEP_READ_S * sample_rate_hz)
    freq_hz = sine_frequency(near_hz, read, sample_rate_hz)
    fade = np.hanning(round(STEP_FADE_S * sample_rate_hz))
    levels = np.repeat([db_to_gain(level) for level in STEPS_DBFS], step)
    x = np.convolve(levels, fade / np.sum(fade), "same") * tone(np.zeros(levels.size), freq_hz, sample_rate_hz)
    y = chain.send(x, x.size + chain.latency)
    last = len(fade)  # before the next step's fade begins
    ends = [step * (i + 1) - last + chain.latency for i in range(len(STEPS_DBFS))]
    figures = (
        measure_sine(y[:, end - read : end], sample_rate_hz, freq_hz, level)
        for end, level in zip(ends, STEPS_DBFS, strict=True)
    )
    return freq_hz, tuple(figures)


def gate_test(
    chain: ChainUnderTest, steps: tuple[SineFigures, ...], freq_hz: float, sample_rate_hz: float
) -> GateFigures | None:
    """Send tones that rise and fall slowly around the level at which the steps show an opening; None without one."""
    gains = [-math.inf if math.isnan(step.gain_db) else step.gain_db for step in steps]
    rises = [b - a if math.isfinite(b) else 0.0 for a, b in itertools.pairwise(gains)]
    if max(rises) < SMALLEST_STEP_DB:
        return None
    at = int(np.argmax(rises))
    ramps = _Ramps(chain, freq_hz, sample_rate_hz)
    fast = ramps.fast(steps[at].in_dbfs - 10.0, steps[at + 1].in_dbfs + 5.0)
    if fast is None or math.isnan(fast.opens_dbfs) or fast.closes_dbfs > fast.opens_dbfs:
        return None
    opens = ramps.opens(fast)
    closes = ramps.closes(fast) if not math.isnan(fast.closes_dbfs) else math.nan
    if math.isnan(opens) or closes > opens + LATER_DB:
        return None
    return GateFigures(
        opens_dbfs=opens,
        closes_dbfs=closes,
        closed_gain_db=-math.inf if fast.closed_db < -150.0 else fast.closed_db - fast.open_db,
        openings=fast.openings,
        closings=fast.closings,
    )


@dataclass(frozen=True)
class _Ramps:
    """Tones through a chain whose level moves on straight lines in dB."""

    chain: ChainUnderTest
    freq_hz: float
    sample_rate_hz: float

    def fast(self, low_db: float, high_db: float) -> FastRamp | None:
        """Up to the top and down again, as far as a gate may reach."""
        down = max(low_db - 25.0, -110.0)
        level = self._course((low_db, 0.1), (high_db, (high_db - low_db) / FAST_DB_PER_S), (high_db, 0.2))
        top = level.size
        level = np.concatenate([level, self._course((high_db, 0.0), (down, (high_db - down) / FAST_DB_PER_S))])
        return read_fast_ramp(level, self._gain_db(level), top)

    def opens(self, fast: FastRamp) -> float:
        """Slowly up from just under where the fast ramp saw it open."""
        low, high = fast.opens_dbfs - 4.0, fast.opens_dbfs + 2.0
        level = self._course((low, 0.2), (high, (high - low) / SLOW_DB_PER_S))
        return without_delay(fast.opens_dbfs, opening_dbfs(level, self._gain_db(level), fast))

    def closes(self, fast: FastRamp) -> float:
        """Open it, then slowly down from where it opened."""
        high, low = fast.opens_dbfs + 1.0, fast.closes_dbfs - 1.0
        level = self._course((high + 4.0, 0.5), (high, 0.05), (low, (high - low) / SLOW_DB_PER_S))
        first = round(0.55 * self.sample_rate_hz)
        slow = crossing_dbfs(level, self._gain_db(level), fast.limit_db, first, rising=False)
        return without_delay(fast.closes_dbfs, slow)

    def _course(self, begin: tuple[float, float], *ways: tuple[float, float]) -> Array:
        """Levels in dB: stay at the first for its seconds, then go to each of the others within its own."""
        level, stay_s = begin
        parts = [np.full(round(stay_s * self.sample_rate_hz), level)]
        for goal, way_s in ways:
            parts.append(np.linspace(level, goal, round(way_s * self.sample_rate_hz)))
            level = goal
        return np.concatenate(parts)

    def _gain_db(self, level_dbfs: Array) -> Array:
        x = tone(level_dbfs, self.freq_hz, self.sample_rate_hz)
        y = self.chain.send(x, x.size + self.chain.latency)
        return ramp_gain_db(x, y, self.freq_hz, self.sample_rate_hz, self.chain.latency)
