"""Amplitude spectrum.

    amplitude(k) = 2 |X[k]| / sum w,  and without the 2 at 0 Hz and half the sample rate                      (1)

A full-scale sine that falls on a bin reads 1, with any window.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from chainsim.measure.signals import check_rate, one_channel
from chainsim.units import Array


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
