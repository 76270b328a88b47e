"""How deep a sound's bands sway, and how fast: amplitude modulation by octaves of its rate, phase left out.

In a window w over some seconds of a band's amplitude a[m], with mean A, and X the transform of w (a - A):

    depth^2 = c sum over the octave's bins of |X|^2 / (A + A0)^2,   feature = 10 log10( depth^2 + m0^2 )        (1)

with c such that a sine of depth m gives m, and A0 the amplitude that is hardly heard. m0 = 0.05 is about the least
depth that is heard, -26 dB for slow modulations [1]_: a sway of that depth where there was none moves the feature by
3 dB. Where the notes themselves make the level sway in the same octave, they mask it.

References
----------
.. [1] N. F. Viemeister, "Temporal modulation transfer functions based upon modulation thresholds", J. Acoust. Soc.
   Am. 66, 1979, 1364-1380, from memory.
"""

from __future__ import annotations

import numpy as np

from chainsim.units import Array

WINDOW_S = 4.0
OCTAVES_HZ = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
"""Lower edges."""
LEAST_DEPTH = 0.05


def modulation_windows(frames: int, frames_per_s: float) -> tuple[int, int]:
    """How many windows so many frames have, and how many frames a window has."""
    size = min(max(1, round(WINDOW_S * frames_per_s)), frames)
    return max(1, round(2.0 * frames / size) - 1), size


def modulation_levels(power: Array, least_power: Array, frames_per_s: float) -> Array:
    """Equation (1) for each window, octave and band.

    Parameters
    ----------
    power : ndarray, shape (channels, frames, bands)
    least_power : ndarray, shape (bands,)
        A0 squared.
    frames_per_s : float

    Returns
    -------
    ndarray, shape (channels, windows, octaves, bands)
        In dB; windows of 4 s, or as long as the sound, each half over the next.
    """
    amplitude = np.sqrt(power)
    channels, frames, bands = amplitude.shape
    count, size = modulation_windows(frames, frames_per_s)
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(size) + 0.5) / size)
    rates_hz = np.fft.rfftfreq(size, 1.0 / frames_per_s)
    levels = np.empty((channels, count, len(OCTAVES_HZ), bands))
    for k in range(count):
        start = k * (frames - size) // max(1, count - 1)
        a = amplitude[:, start : start + size]
        mean = np.sum(window[:, np.newaxis] * a, axis=1, keepdims=True) / np.sum(window)
        spectra = np.fft.rfft(window[:, np.newaxis] * (a - mean), axis=1)
        depth = np.abs(spectra) / (mean + np.sqrt(least_power))
        squares = depth**2 * (4.0 / (size * np.sum(window**2)))
        for o, low_hz in enumerate(OCTAVES_HZ):
            inside = (rates_hz >= low_hz) & (rates_hz < 2.0 * low_hz)
            levels[:, k, o] = 10.0 * np.log10(np.sum(squares[:, inside], axis=1) + LEAST_DEPTH**2)
    return levels
