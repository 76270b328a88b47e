"""Normalised echo density after Abel and Huang: how far a reverberation is from isolated echoes.

    eta(t) = 1 / erfc(1 / sqrt 2) sum_k w[k] 1{ |h[t + k]| > sigma(t) },  sigma(t)^2 = sum_k w[k] h[t + k]^2     (1)

with a Hann window w of sum 1. Gaussian noise reads 1, a few echoes near 0; decay and colour hardly matter.

Source: J. S. Abel, P. Huang, "A Simple, Robust Measure of Reverberation Echo Density", AES 121st Convention, 2006.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.measure.signals import check_rate, one_channel
from chainsim.units import Array

WINDOW_MS = 1000.0 * 1024 / 48_000
HOP_MS = 1.0
OUTSIDE_SHARE = math.erfc(1.0 / math.sqrt(2.0))
"""Share of a normal distribution that lies over one standard deviation: 0.3173."""
ROWS = 512


def echo_density(
    response: npt.ArrayLike, sample_rate_hz: float, window_ms: float = WINDOW_MS, hop_ms: float = HOP_MS
) -> tuple[Array, Array]:
    """Echo density profile of an impulse response.

    Parameters
    ----------
    response : ndarray, shape (frames,)
        Impulse response of one channel.
    sample_rate_hz : float
        Sample rate.
    window_ms : float
        Length of the window; 20 to 30 ms are usual.
    hop_ms : float
        Distance of the windows.

    Returns
    -------
    times_s, density : ndarray, shape (windows,)
        Middles of the windows, all of them within the response, and their densities; 0 where it is silent.
    """
    check_rate(sample_rate_hz, "echo density")
    h = one_channel(response, "echo density")
    frames = max(3, round(window_ms * sample_rate_hz / 1000.0))
    hop = max(1, round(hop_ms * sample_rate_hz / 1000.0))
    if h.size < frames:
        raise AudioError(f"echo density: response of {h.size} frames is shorter than its window of {frames}")
    phase = 2.0 * np.pi * (np.arange(frames) + 0.5) / frames
    weights = (1.0 - np.cos(phase)) / frames
    windows = np.lib.stride_tricks.sliding_window_view(h, frames)[::hop]
    density = np.empty(windows.shape[0])
    for first in range(0, windows.shape[0], ROWS):
        rows = windows[first : first + ROWS]
        sigma = np.sqrt(np.square(rows) @ weights)
        density[first : first + ROWS] = (np.abs(rows) > sigma[:, np.newaxis]) @ weights / OUTSIDE_SHARE  # (1)
    times_s: Array = (np.arange(windows.shape[0], dtype=np.float64) * hop + 0.5 * frames) / sample_rate_hz
    return times_s, density


def mixing_time_s(times_s: Array, density: Array, level: float = 1.0) -> float:
    """First time at which a profile reaches `level`; NaN if it never does."""
    reached = np.flatnonzero(density >= level)
    return float(times_s[reached[0]]) if reached.size else math.nan
