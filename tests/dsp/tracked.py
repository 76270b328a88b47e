"""What the pitch tracker says of a sound, hop by hop, and sounds whose pitch is known in closed form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, ROWS, VOICED
from chainsim.dsp.pitch_tracker import PitchTracker

FULL_RANGE_HZ = (40.0, 1600.0)
TOP_SHARE = 0.45
"""Share of the sample rate up to which tones have harmonics."""

SAW = 600
"""More harmonics than fit under `TOP_SHARE`."""


@dataclass(frozen=True)
class Estimates:
    """One entry a hop; `time_s` is when all samples that the estimate used had arrived."""

    time_s: np.ndarray
    f0_hz: np.ndarray
    voiced: np.ndarray
    confidence: np.ndarray
    level_db: np.ndarray
    attacks_s: np.ndarray
    known_s: np.ndarray

    def cents(self, true_hz: np.ndarray | float) -> np.ndarray:
        """Distance of each estimate from a true pitch; minus infinity before there is any."""
        with np.errstate(divide="ignore"):
            return 1200.0 * np.log2(self.f0_hz / true_hz)

    def between(self, begin_s: float, end_s: float) -> np.ndarray:
        """Which estimates were there from `begin_s` to `end_s`."""
        return (self.time_s >= begin_s) & (self.time_s < end_s)

    def known_at(self, times_s: np.ndarray) -> np.ndarray:
        """Index of the newest estimate at each time; of the first one before there is any."""
        return np.maximum(np.searchsorted(self.time_s, times_s + 1e-9, side="right") - 1, 0)


def tracked(
    x: np.ndarray, rate_hz: float = 48_000.0, range_hz: tuple[float, float] = FULL_RANGE_HZ, span: int = 1 << 14
) -> Estimates:
    """Track a sound of shape (frames,)."""
    tracker = PitchTracker(*range_hz, rate_hz)
    rows = rows_of(tracker, x, span)
    hops = rows[:, tracker.hop_samples - 1 :: tracker.hop_samples]
    known = np.flatnonzero(rows[ONSET_AGE_S])
    known_s = (known + 1) / rate_hz
    time_s = (np.arange(hops.shape[1]) + 1) * tracker.hop_samples / rate_hz
    values = (hops[F0_HZ], hops[VOICED] > 0.0, hops[CONFIDENCE], hops[LEVEL_DB])
    return Estimates(time_s, *values, known_s - rows[ONSET_AGE_S, known], known_s)


def rows_of(tracker: PitchTracker, x: np.ndarray, span: int) -> np.ndarray:
    """The tracker's rows, shape (5, frames), worked out `span` samples at a time."""
    rows = np.empty((len(ROWS), x.size))
    for a in range(0, x.size, span):
        part = np.empty((len(ROWS), min(span, x.size - a)))
        tracker.process(a, np.ascontiguousarray(x[a : a + span]), part)
        rows[:, a : a + span] = part
    return rows


def harmonics(
    f0_hz: float | np.ndarray,
    amplitudes: Mapping[int, float] | int,
    seconds: float,
    rate_hz: float = 48_000.0,
    peak: float = 0.2,
) -> np.ndarray:
    """Sum of sines, that many with 1/k each or as `amplitudes` says; `f0_hz` may be a course, shape (frames,)."""
    frames = round(seconds * rate_hz)
    course_hz = np.broadcast_to(f0_hz, frames)
    phase = 2.0 * np.pi * np.cumsum(course_hz) / rate_hz
    if isinstance(amplitudes, int):
        amplitudes = {k: 1.0 / k for k in range(1, amplitudes + 1)}
    y = np.zeros(frames)
    lowest_hz = float(course_hz.min())
    for k, amplitude in amplitudes.items():
        if k * lowest_hz < TOP_SHARE * rate_hz:
            y += np.where(k * course_hz < TOP_SHARE * rate_hz, amplitude, 0.0) * np.sin(k * phase)
    return peak * y / np.abs(y).max()


def mellow(f0_hz: float, even: float = 1.0) -> dict[int, float]:
    """Amplitudes as horns have them: 1/k, and from 900 Hz on 12 dB per octave less; the even ones times `even`."""
    return {k: (even if k % 2 == 0 else 1.0) / (k * (1.0 + (k * f0_hz / 900.0) ** 2)) for k in range(1, 61)}


def notes(
    f0_hz: list[float], each_s: float, rest_s: float, rate_hz: float = 48_000.0, rise_s: float = 0.01
) -> np.ndarray:
    """Twelve harmonics for each note, rising and falling as a raised cosine within `rise_s`; a rest before each."""
    rest = np.zeros(round(rest_s * rate_hz))
    n = np.arange(round(each_s * rate_hz))
    ends = np.minimum(n + 1, n[::-1] + 1) / (rise_s * rate_hz)
    shape = 0.5 - 0.5 * np.cos(np.pi * np.minimum(1.0, ends))
    return np.concatenate([part for f in f0_hz for part in (rest, shape * harmonics(f, 12, each_s, rate_hz))])


def with_noise(x: np.ndarray, snr_db: float, seed: int = 1) -> np.ndarray:
    """White noise under the mean power of x."""
    noise = np.random.default_rng(seed).standard_normal(x.size)
    return x + np.sqrt(np.mean(x**2)) * 10.0 ** (-snr_db / 20.0) * noise
