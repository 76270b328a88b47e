"""Short-time correlation of a dry with a wet recording, and the delay that runs away evenly.

Both sounds are whitened by the dry one's spectrum and kept to 80 Hz to 3 kHz. What is read along a path of delays is
a likelihood: its sum over the frames is largest for the path that the box took. No frame has to tell its delay by
itself, which those of a steady note cannot: they correlate with every period.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.units import Array

FRAME_S = 0.03
HOP_S = 0.02
SEARCH_S = 0.008
LAG_STEP_S = 1.0 / 12_000.0
BAND_HZ = (80.0, 3000.0)
FLOOR_DB = -20.0
MOST_DRIFT_PPM = 500.0


@dataclass(frozen=True)
class Correlations:
    """Correlation of each frame with the wet sound, about one lag.

    Attributes
    ----------
    values : ndarray, shape (frames, lags)
        At lags of LAG_STEP_S, from SEARCH_S before the middle one on.
    times_s : ndarray, shape (frames,)
        Middles of the frames in the dry recording.
    most : float
        The sum over frames if each correlated fully.
    lag : int
        The middle lag in samples of the recordings.
    sample_rate_hz : float
        Of the recordings.
    """

    values: Array
    times_s: Array
    most: float
    lag: int
    sample_rate_hz: float

    @classmethod
    def of(cls, dry: Array, wet: Array, sample_rate_hz: float, lag: int) -> Correlations | None:
        """Correlate two recordings, shape (frames,), about a lag; None if they are too short."""
        from scipy.signal import resample_poly

        x, y = _whitened(dry, wet, sample_rate_hz)
        up, down = _lag_ratio(sample_rate_hz)
        y = np.concatenate([np.zeros(max(-lag, 0)), y[max(lag, 0) :]])
        x, y = resample_poly(x, up, down), resample_poly(y, up, down)
        size, hop, reach = (round(s / LAG_STEP_S) for s in (FRAME_S, HOP_S, SEARCH_S))
        frames = min(x.size, y.size) // hop - size // hop - 1
        if frames < 25:
            return None
        window = np.hanning(size + 2)[1:-1]
        padded = np.concatenate([np.zeros(reach), y, np.zeros(reach + size)])
        length = 1 << (size + 2 * reach).bit_length()
        dry_frames = np.stack([x[i * hop : i * hop + size] * window for i in range(frames)])
        wet_frames = np.stack([padded[i * hop : i * hop + size + 2 * reach] for i in range(frames)])
        product = np.fft.rfft(wet_frames, length) * np.conj(np.fft.rfft(dry_frames, length))
        values = np.fft.irfft(product, length)[:, : 2 * reach + 1]
        middle = wet_frames[:, reach : reach + size] * window
        energy = np.sqrt(np.sum(dry_frames**2, axis=1) * np.sum(middle**2, axis=1))
        times_s = (np.arange(frames) * hop + 0.5 * size) * LAG_STEP_S
        return cls(values, times_s, float(np.sum(energy)) or 1.0, lag, sample_rate_hz)

    @property
    def best_share(self) -> float:
        """How far the frames correlate at whatever delay suits each best, 0 to 1."""
        return float(np.sum(np.max(self.values, axis=1))) / self.most

    def along(self, delays_s: Array) -> float:
        """J: the sum of each frame's correlation at its own delay, interpolated."""
        places = np.clip((delays_s + SEARCH_S) / LAG_STEP_S, 1.0, self.values.shape[1] - 3.0)
        whole = places.astype(np.int64)
        d = places - whole
        rows = np.arange(self.values.shape[0])
        before, at, after, beyond = (self.values[rows, whole + k] for k in (-1, 0, 1, 2))
        # Lagrange's cubic through the four around it: a straight line would pull towards whole lags.
        read = (
            -d * (d - 1.0) * (d - 2.0) / 6.0 * before
            + (d + 1.0) * (d - 1.0) * (d - 2.0) / 2.0 * at
            - (d + 1.0) * d * (d - 2.0) / 2.0 * after
            + (d + 1.0) * d * (d - 1.0) / 6.0 * beyond
        )
        return float(np.sum(read))


def _lag_ratio(sample_rate_hz: float) -> tuple[int, int]:
    """Ratio that brings a rate to one sample each LAG_STEP_S."""
    up, down = round(1.0 / LAG_STEP_S), round(sample_rate_hz)
    common = math.gcd(up, down)
    return up // common, down // common


def _whitened(dry: Array, wet: Array, sample_rate_hz: float) -> tuple[Array, Array]:
    """Both sounds with the dry one's spectrum made even, in BAND_HZ."""
    from scipy.fft import irfft, next_fast_len, rfft
    from scipy.signal import welch

    freq_hz, power = welch(dry, sample_rate_hz, nperseg=min(4096, dry.size))
    weight = 1.0 / np.sqrt(power + 10.0 ** (0.1 * FLOOR_DB) * np.mean(power) + 1e-300)
    weight *= (freq_hz >= BAND_HZ[0]) & (freq_hz <= BAND_HZ[1])
    size = next_fast_len(max(dry.size, wet.size) + 4096, real=True)
    filter_ = np.interp(np.fft.rfftfreq(size, 1.0 / sample_rate_hz), freq_hz, weight)
    x, y = (irfft(rfft(sound, size) * filter_, size)[: sound.size] for sound in (dry, wet))
    return x, y


@dataclass(frozen=True)
class Run:
    """A delay that grows evenly: `middle` in samples at the beginning, `drift_ppm`, and its sum over the frames."""

    middle: float
    drift_ppm: float
    total: float


def even_run(seen: Correlations) -> Run:
    """The best delay of the kind d0 + drift t, up to MOST_DRIFT_PPM."""
    from scipy.optimize import minimize

    span_s = float(seen.times_s[-1])
    step = LAG_STEP_S / span_s
    reach = min(1e-6 * MOST_DRIFT_PPM, 0.5 * SEARCH_S / span_s)
    frames, lags = seen.values.shape
    best = (-math.inf, 0.0, 0.0)
    for slope in np.arange(-reach, reach + step, step):
        moved = np.rint(slope * seen.times_s / LAG_STEP_S).astype(np.int64)
        places = np.clip(np.arange(lags)[np.newaxis, :] + moved[:, np.newaxis], 0, lags - 1)
        sums = np.sum(seen.values[np.arange(frames)[:, np.newaxis], places], axis=0)
        at = int(np.argmax(sums))
        best = max(best, (float(sums[at]), at * LAG_STEP_S - SEARCH_S, float(slope)))

    def loss(moves: Array) -> float:
        return -seen.along(best[1] + moves[0] * LAG_STEP_S + (best[2] + moves[1] * step) * seen.times_s)

    simplex = np.array([[0.0, 0.0], [0.5, 0.0], [0.0, 0.5]])
    options = {"initial_simplex": simplex, "xatol": 1e-3, "fatol": 1e-9 * seen.most}
    found = minimize(loss, np.zeros(2), method="Nelder-Mead", options=options)
    middle_s, slope = best[1] + found.x[0] * LAG_STEP_S, best[2] + found.x[1] * step
    return Run(seen.lag + middle_s * seen.sample_rate_hz, 1e6 * float(slope), -float(found.fun))
