"""The limiter's ceiling, heard by an oversampler that has nothing to do with it, and its times by their definition.

True peak as in ITU-R BS.1770-5, Annex 2, with 16 times oversampling, which can read at most 0.04 dB too low, and a
filter of 401 taps a phase: scipy's, not ours.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from scipy.signal import firwin, resample_poly

from chainsim.resources import take_paths
from tests.blocks.harness import prepared, run

RATES_HZ = (8_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0)
FRAMES = 3_000
OVER_DB = 0.1
UP = 16
LONG = firwin(400 * UP + 1, 1.0 / UP, window=("kaiser", 10.0))


def true_peak_db(y: np.ndarray) -> float:
    return max(20.0 * math.log10(float(np.abs(resample_poly(row, UP, 1, window=LONG)).max())) for row in y)


def gated(freq: float, phase: float, share: float, period: int) -> np.ndarray:
    """A sine of a share of the sample rate, switched on and off without a ramp, 18 dB over full scale."""
    n = np.arange(FRAMES)
    return np.where(np.modf(n / period)[0] < share, 8.0, 0.0) * np.sin(2.0 * np.pi * freq * n + phase)


RNG = np.random.default_rng(11)
SOUNDS = {
    "steps": 5.0 * np.sign(np.sin(np.arange(FRAMES) * 0.01)),
    "fs/4 at 45 degrees": gated(0.25, math.pi / 4.0, 1.0, FRAMES),
    "bursts of fs/4": gated(0.25, math.pi / 4.0, 0.3, 1500),
    "bursts of fs/3": gated(1.0 / 3.0, 0.3, 0.1, 500),
    "bursts of fs/10": gated(0.1, 1.0, 0.2, 700),
    "0.45 fs": gated(0.45, 0.3, 1.0, FRAMES),
    "noise": 3.0 * RNG.standard_normal(FRAMES),
    "clipped noise": np.clip(10.0 * RNG.standard_normal(FRAMES), -10.0, 10.0),
    "signs drawn by chance": 8.0 * RNG.choice([-1.0, 1.0], FRAMES),
    "lone spikes": 40.0 * RNG.standard_normal(FRAMES) * (RNG.random(FRAMES) < 0.001),
}
"""All at 10 to 30 dB over full scale, with nothing done to keep them below half the sample rate."""


@pytest.mark.parametrize("sample_rate_hz", RATES_HZ)
def test_nothing_gets_over_the_ceiling(sample_rate_hz: float) -> None:
    block = prepared("limiter", sample_rate_hz=sample_rate_hz)
    found = {}
    for name, x in SOUNDS.items():
        block.reset()
        y = run(block, np.concatenate([np.zeros(300), x, np.zeros(500)])[None])
        assert np.abs(y).max() <= 10.0 ** (-1.0 / 20.0) + 1e-6
        found[name] = true_peak_db(y)
    assert {name: db for name, db in found.items() if db > -1.0 + OVER_DB} == {}
    # and does get up to it, where a ceiling can be told from a volume control
    assert found["fs/4 at 45 degrees"] > -1.1


def adding_up(seed: int) -> np.ndarray:
    """Signs that all add up somewhere between two samples, in twenty places; or drawn by chance, or silent."""
    rng, x = np.random.default_rng(seed), np.zeros(FRAMES)
    if seed % 2 == 0:
        return rng.choice([-5.0, 0.0, 5.0], FRAMES)
    for _ in range(20):
        at, k = rng.integers(100, 2_900), np.arange(-30, 30)
        x[at + k] += np.sign(np.sinc(k + rng.uniform(0.2, 0.8))) * rng.uniform(1.0, 8.0)
    return x


@pytest.mark.parametrize("times", [{}, {"look_ahead_ms": 1.0, "hold_ms": 0.0, "release_ms": 5.0}])
def test_what_was_made_to_get_over_the_ceiling_does_not(times: dict[str, float]) -> None:
    """The worst of 1700; where the bound leaves no room for a gain that moves they get up to 0.64 dB over it."""
    block = prepared("limiter", **times)
    found = {}
    for seed in (224, 184, 215, 88, 190, 258, 286, 1_032, 1_067):
        block.reset()
        y = run(block, np.concatenate([adding_up(seed), np.zeros(1_500)])[None])
        found[seed] = true_peak_db(y)
    assert max(found.values()) <= -1.0 + OVER_DB


@pytest.mark.parametrize("take", sorted(take_paths()))
def test_music_20_db_too_loud(take: str) -> None:
    audio, rate_hz = soundfile.read(take_paths()[take], start=48_000, frames=40_000)
    x = np.concatenate([10.0 * audio, np.zeros(500)])[None]  # so that where it is cut off is limited too
    quickest = {"look_ahead_ms": 1.0, "hold_ms": 0.0, "release_ms": 5.0}
    y = run(prepared("limiter", sample_rate_hz=float(rate_hz), ceiling_dbtp=-3.0, **quickest), x)
    assert -3.2 < true_peak_db(y) <= -3.0 + OVER_DB


@pytest.mark.parametrize(("fraction", "amplitude"), [(4, 0.5), (4, 1.41), (6, 0.5), (8, 0.5)])
def test_peaks_between_samples_count(fraction: int, amplitude: float) -> None:
    """Sines whose samples all miss the crest, as in EBU Tech 3341, Table 1, cases 16 to 19, with 10 ms fades."""
    n = np.arange(24_000)
    fade = np.minimum(np.minimum(n, n[::-1]) / 480.0, 1.0)
    phase = {4: math.pi / 4.0, 6: math.pi / 3.0, 8: 1.5 * math.pi / 4.0}[fraction]
    x = (amplitude * fade * np.sin(2.0 * np.pi * n / fraction + phase))[None]
    _, told = run(prepared("limiter", ceiling_dbtp=-9.0), x, readings=True)
    expected_db = -9.0 - 20.0 * math.log10(amplitude)
    assert 20.0 * math.log10(told[0, 12_000]) == pytest.approx(expected_db, abs=0.05)


@pytest.mark.parametrize("sample_rate_hz", [44_100.0, 192_000.0])
@pytest.mark.parametrize(("hold_ms", "release_ms"), [(0.0, 100.0), (16.0, 30.0)])
def test_release_is_the_time_to_63_percent_in_db(sample_rate_hz: float, hold_ms: float, release_ms: float) -> None:
    n = np.arange(int(0.7 * sample_rate_hz))
    end = int(0.1 * sample_rate_hz)
    x = np.where(n < end, 4.0, 0.01)[None] * np.sin(2.0 * np.pi * 1000.0 * n / sample_rate_hz)
    block = prepared("limiter", sample_rate_hz=sample_rate_hz, hold_ms=hold_ms, release_ms=release_ms)
    _, told = run(block, x, readings=True)
    reduction_db = -20.0 * np.log10(told[0])
    full = reduction_db[end]
    assert full == pytest.approx(20.0 * math.log10(4.0) + 1.0, abs=0.02)
    back = np.argmax(reduction_db[end:] <= math.exp(-1.0) * full) - block.latency_samples
    assert back / sample_rate_hz * 1000.0 - hold_ms == pytest.approx(release_ms, rel=0.05)
