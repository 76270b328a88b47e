"""The test signals for a chain, each with what is read from what comes out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.batch.chain.chain_under_test import ChainUnderTest
from chainsim.measure.arrival import Arrival, find_copies
from chainsim.measure.filter_response import BandSounds, FilterResponse, filter_response
from chainsim.measure.gate_ramps import tone
from chainsim.measure.sine_distortion import SineFigures, measure_sine, sine_frequency
from chainsim.units import Array, Audio, db_to_gain

STEPS_DBFS = tuple(float(level) for level in range(-70, 5, 5))
STEP_READ_S, STEP_FADE_S = 0.1, 0.01
SHORTEST_SETTLE_S, LONGEST_SETTLE_S, LONGEST_WITH_PITCH_S = 0.25, 3.0, 0.5
"""Where voices follow the pitch no distortion is told, and a trace of an echo does no harm."""
SETTLED_DB = -70.0
"""So little of a click may be yet to come while a sine is read."""
NOISE_S, NOISE_DBFS, NOISE_SEED = 0.5, -30.0, 23
LONGEST_WAIT_S = 5.0
"""So long a tail is listened to: with 45 dB above its noise, enough for 6.7 s of decay time."""
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

    @property
    def to_come_db(self) -> Array:
        """Energy from each frame on, relative to the whole; shape (frames,)."""
        rest = np.cumsum(np.sum(self.response**2, axis=0)[::-1])[::-1]
        level: Array = 10.0 * np.log10(np.maximum(rest / max(float(rest[0]), 1e-300), 1e-30))
        return level


def click_test(chain: ChainUnderTest, sample_rate_hz: float) -> ClickTest:
    """Send nothing, a click of 0 dBFS, and one that comes later.

    Where the chain has a noise of its own, the response is half the difference between a click up and a click down: a
    gate lets the same noise through for both. No change is told that is less than that noise.
    """
    wait = chain.latency + round(min(max(chain.tail_s, 0.3), LONGEST_WAIT_S) * sample_rate_hz)
    again = min(wait, chain.latency + round(sample_rate_hz))
    frames = max(CLICK_AT + wait, CLICK_AT + CLICK_LATER + again)
    idle = chain.send(np.zeros(1), frames)
    responses, noise = [], 0.0
    for at, length in ((CLICK_AT, wait), (CLICK_AT + CLICK_LATER, again)):
        click = np.zeros(at + 1)
        click[at] = 1.0
        response = chain.send(click, at + length)
        if idle.any():
            down = chain.send(-click, at + length)
            response, hiss = 0.5 * (response - down), 0.5 * (response + down)
            noise += float(np.sum(hiss[:, at : at + again] ** 2))
        responses.append(response[:, at:])
    first, second = responses
    change, whole = (float(np.sum(h**2)) for h in (second - first[:, :again], first[:, :again]))
    change_db = 10.0 * math.log10(change / whole) if change > max(ROUNDING * whole, noise) else -math.inf
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


def sine_test(
    chain: ChainUnderTest, near_hz: float, click: ClickTest, sample_rate_hz: float
) -> tuple[float, float, tuple[SineFigures, ...]]:
    """Send a sine at one level after the other, each until it has settled, to a chain as new.

    Returns
    -------
    freq_hz : float
    unsettled_db : float
        What of a click would be yet to come when a step is read.
    steps : tuple of SineFigures
    """
    read, fade = round(STEP_READ_S * sample_rate_hz), round(STEP_FADE_S * sample_rate_hz)
    to_come_db = click.to_come_db
    longest_s = LONGEST_WITH_PITCH_S if chain.follows_pitch else LONGEST_SETTLE_S
    least, most = (chain.latency + round(s * sample_rate_hz) for s in (SHORTEST_SETTLE_S, longest_s))
    settled = min(max(int(np.sum(to_come_db > SETTLED_DB)), least), most)
    unsettled_db = float(to_come_db[settled]) if settled < to_come_db.size else -math.inf
    freq_hz = sine_frequency(near_hz, read, sample_rate_hz)
    frames = fade + settled + read
    x = tone(np.zeros(frames), freq_hz, sample_rate_hz)
    x[:fade] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(fade) / fade)
    steps = tuple(
        measure_sine(chain.send(db_to_gain(level) * x, frames)[:, -read:], sample_rate_hz, freq_hz, level, unsettled_db)
        for level in STEPS_DBFS
    )
    return freq_hz, unsettled_db, steps
