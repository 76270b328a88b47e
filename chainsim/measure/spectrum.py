"""Amplitude spectrum in dBFS and spectral centroid.

    level(k) = 20 log10( 2 |X[k]| / sum w ),  and without the 2 at 0 Hz and half the sample rate              (1)

A full-scale sine that falls on a bin reads 0 dBFS, with any window.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from chainsim.measure.signals import check_rate, one_channel
from chainsim.units import Array

FLOOR_DBFS = -400.0
"""What a bin without energy reads, so that levels stay finite."""


def amplitude_spectrum(
    signal: npt.ArrayLike, sample_rate_hz: float, window: str = "rectangular"
) -> tuple[Array, Array]:
    """Amplitude of each bin of one transform over the whole signal.

    Parameters
    ----------
    signal : ndarray, shape (frames,)
        One channel.
    sample_rate_hz : float
        Sample rate.
    window : str
        "rectangular" (right for whole periods) or any window known to scipy.signal.get_window, such as "hann".

    Returns
    -------
    freq_hz, amplitude : ndarray, shape (frames // 2 + 1,)
        Bin frequencies and peak amplitudes; 1 is full scale.
    """
    check_rate(sample_rate_hz, "spectrum")
    x = one_channel(signal, "spectrum")
    if window == "rectangular":
        weights = np.ones(x.size)
    else:
        from scipy.signal import get_window

        weights = get_window(window, x.size)
    amplitude = np.abs(np.fft.rfft(x * weights)) * 2.0 / np.sum(weights)  # (1)
    amplitude[0] /= 2.0
    if x.size % 2 == 0:
        amplitude[-1] /= 2.0
    freq_hz: Array = np.arange(amplitude.size, dtype=np.float64) * (sample_rate_hz / x.size)
    return freq_hz, amplitude


def amplitude_spectrum_dbfs(
    signal: npt.ArrayLike, sample_rate_hz: float, window: str = "rectangular"
) -> tuple[Array, Array]:
    """`amplitude_spectrum` with its amplitudes as levels in dBFS, never under FLOOR_DBFS."""
    freq_hz, amplitude = amplitude_spectrum(signal, sample_rate_hz, window)
    return freq_hz, 20.0 * np.log10(np.maximum(amplitude, 10.0 ** (FLOOR_DBFS / 20.0)))


def spectral_centroid_hz(signal: npt.ArrayLike, sample_rate_hz: float) -> float:
    """Mean frequency weighted by amplitude, Hann window, shape (frames,); 0 for silence."""
    freq_hz, amplitude = amplitude_spectrum(signal, sample_rate_hz, "hann")
    total = float(np.sum(amplitude))
    return float(np.sum(freq_hz * amplitude) / total) if total > 0.0 else 0.0
