"""How far the spectra of two aligned sounds are apart: the log-spectral distance, in dB.

    d(m) = sqrt( mean over k of (20 log10( |Y_m[k]| / |X_m[k]| ))^2 ),   d = mean over m of d(m)                (1)

Frames m are windows of Hann, as long as 2048 samples at 48 kHz; bins k lie from 50 Hz to 12 kHz. Both magnitudes are
held at a floor 80 dB under the reference's loudest bin, so that what nobody hears does not decide; frames in which
the reference is more than 40 dB under its loudest frame do not count. Identical sounds are 0 apart, a gain of 1 dB is
1 dB where all bins lie over the floor. Phase, polarity and a delay of less than a few milliseconds hardly show.

Source: A. H. Gray, J. D. Markel, "Distance measures for speech processing", IEEE Trans. Acoustics, Speech, and Signal
Processing 24(5), 1976, 380-391: the rms log spectral measure.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.errors import AudioError
from chainsim.measure.signals import check_rate, one_channel
from chainsim.units import Array

WINDOW_S, HOP_S = 2048 / 48_000, 512 / 48_000
LOW_HZ, HIGH_HZ = 50.0, 12_000.0
FLOOR_DB = -80.0
"""Against the loudest bin of the whole reference."""
SOUNDING_DB = -40.0
"""Against the loudest frame of the reference."""


def log_spectral_distance_db(reference: npt.ArrayLike, sound: npt.ArrayLike, sample_rate_hz: float) -> float:
    """Log-spectral distance of a sound from a reference: equation (1).

    Parameters
    ----------
    reference, sound : ndarray, shape (frames,)
        Aligned: take a known latency out first. What one is longer than the other is left out.
    sample_rate_hz : float

    Returns
    -------
    float
        In dB, 0 or more; NaN if the reference is silent or shorter than a window.

    Raises
    ------
    AudioError
        If one is not one channel of finite samples.
    """
    check_rate(sample_rate_hz, "spectral distance")
    x, y = one_channel(reference, "spectral distance"), one_channel(sound, "spectral distance")
    size, hop = (max(1, round(s * sample_rate_hz)) for s in (WINDOW_S, HOP_S))
    frames = (min(x.size, y.size) - size) // hop + 1
    if frames < 1:
        return math.nan
    x_power, y_power = (_powers(v, size, hop, frames, sample_rate_hz) for v in (x, y))
    loudness = np.sum(x_power, axis=1)
    if not loudness.max() > 0.0:
        return math.nan
    counts = loudness >= 10.0 ** (SOUNDING_DB / 10.0) * loudness.max()
    floor = 10.0 ** (FLOOR_DB / 10.0) * float(x_power.max())
    x_db, y_db = (10.0 * np.log10(np.maximum(p[counts], floor)) for p in (x_power, y_power))
    return float(np.mean(np.sqrt(np.mean((y_db - x_db) ** 2, axis=1))))


def _powers(x: Array, size: int, hop: int, frames: int, sample_rate_hz: float) -> Array:
    """Power of each frame and bin that counts, shape (frames, bins)."""
    low, high = math.ceil(LOW_HZ * size / sample_rate_hz), math.floor(HIGH_HZ * size / sample_rate_hz)
    if low > min(high, size // 2):
        raise AudioError(f"spectral distance: no bin between {LOW_HZ:g} Hz and half of {sample_rate_hz:g} Hz")
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(size) / size)
    cut = np.lib.stride_tricks.sliding_window_view(x, size)[: hop * frames : hop]
    # A bounded number of frames at a time: a long take's transforms would fill the memory.
    parts = [np.abs(np.fft.rfft(cut[m : m + 256] * window)[:, low : high + 1]) ** 2 for m in range(0, frames, 256)]
    power: Array = np.concatenate(parts)
    return power
