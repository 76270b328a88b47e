"""An impulse response at another sample rate: what it does to each frequency is kept, and nothing sounds before it.

The transform of the response is kept up to the top of the lower rate's band, and set to zero above:

    H'(f) = H(f) P(f),   |P| = 1 up to 0.907 of half the lower rate, -120 dB from there on                       (1)

A response is a density: at twice the rate its samples are twice as many and half as high, which keeping H does by
itself. P has the least phase that its magnitude allows, made by folding the cepstrum [1]_: one of even phase would ring
before the first sample, and cutting that off would spoil the magnitude of a response that begins at once.

References
----------
.. [1] A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing, 3rd ed., section 13.5.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from scipy.fft import next_fast_len

from chainsim.units import Array

PASS = 20_000.0 / 22_050.0
"""Share of half the lower rate up to which nothing changes: 20 kHz at 44.1 kHz."""

STOP_DB = -120.0

RING = 1000
"""How long P rings, in samples of the lower rate."""


def response_at_rate(h: Array, rate_hz: float, wanted_hz: float) -> Array:
    """Return the responses h, shape (responses, taps), sampled at `wanted_hz` in place of `rate_hz`."""
    if rate_hz == wanted_hz:
        return h
    ratio = Fraction(wanted_hz / rate_hz).limit_denominator(1_000_000)
    ring_s = RING / min(rate_hz, wanted_hz)
    # Twice the ringing in silence behind it: what comes round to the beginning has died away.
    least = (h.shape[1] + 2.0 * ring_s * rate_hz) / (2 * ratio.denominator)
    whole = 2 * next_fast_len(math.ceil(least), real=True)
    taps, wanted_taps = whole * ratio.denominator, whole * ratio.numerator
    shared = min(taps, wanted_taps) // 2 + 1
    top = 0.5 * min(rate_hz, wanted_hz) / wanted_hz
    passed = _least_phase(_band(wanted_taps, top))[:shared]
    found = np.empty((len(h), math.ceil((h.shape[1] / rate_hz + ring_s) * wanted_hz)))
    for response, resampled in zip(h, found, strict=True):  # one by one: a long one takes memory enough
        spectrum = np.fft.rfft(response, taps)[:shared] * passed
        resampled[:] = np.fft.irfft(spectrum, wanted_taps)[: found.shape[1]]
    return found


def _band(taps: int, top: float) -> Array:
    """|P| of equation (1) in dB, for frequencies up to half the rate; `top` is a share of the rate."""
    share = np.clip((np.arange(taps // 2 + 1) / (taps * top) - PASS) / (1.0 - PASS), 0.0, 1.0)
    return STOP_DB * (0.5 - 0.5 * np.cos(np.pi * share))


def _least_phase(level_db: Array) -> npt.NDArray[np.complex128]:
    """Response of least phase whose magnitude, up to half the rate, is `level_db`."""
    taps = 2 * (len(level_db) - 1)
    cepstrum = np.fft.irfft(level_db * (math.log(10.0) / 20.0), taps)
    cepstrum[1 : taps // 2] *= 2.0
    cepstrum[taps // 2 + 1 :] = 0.0
    return np.exp(np.fft.rfft(cepstrum, taps))
