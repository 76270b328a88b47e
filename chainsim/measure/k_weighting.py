"""K-weighting at any sample rate: the two biquads of ITU-R BS.1770-5, Annex 1, Tables 1 and 2.

The standard prints coefficients for 48 kHz and asks for the same response elsewhere. The analogue parameters below
give the printed values to 1e-15 by the bilinear transform K = tan(pi f0 / fs):

    shelf:      b = [Vh + Vb K/Q + K^2, 2 (K^2 - Vh), Vh - Vb K/Q + K^2] / a0                      (1)
    high-pass:  b = s [1, -2, 1]                                                                   (2)
    both:       a = [1, 2 (K^2 - 1) / a0, (1 - K/Q + K^2) / a0],  a0 = 1 + K/Q + K^2               (3)

The printed high-pass numerator is 1, -2, 1, so s = 1 at 48 kHz. At other rates s makes the gain at 997 Hz, the
standard's calibration tone, what it is at 48 kHz: a full-scale tone then reads -3.01 at every rate.
"""

from __future__ import annotations

import cmath
import math

import numpy as np

from chainsim.units import Array

# From open-source implementations of BS.1770; checked against the printed tables in tests/published.
SHELF_HZ, SHELF_DB, SHELF_Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
SHELF_BAND_POWER = 0.4996667741545416
HIGH_PASS_HZ, HIGH_PASS_Q = 38.13547087602444, 0.5003270373238773
TABLE_RATE_HZ = 48_000.0
CALIBRATION_HZ = 997.0


def k_weighting(sample_rate_hz: float) -> Array:
    """Coefficients of the two K-weighting biquads.

    Parameters
    ----------
    sample_rate_hz : float, at least 4000
        Sample rate; the shelf at 1682 Hz has to fit under half of it.

    Returns
    -------
    sos : ndarray, shape (2, 6)
        Shelf and high-pass, each row b0 b1 b2 1 a1 a2, as scipy.signal orders them.

    References
    ----------
    .. [1] ITU-R BS.1770-5 (11/2023), Annex 1, Tables 1 and 2.
    """
    sos = _unscaled(sample_rate_hz)
    if sample_rate_hz != TABLE_RATE_HZ:
        sos[1, :3] *= _gain(_unscaled(TABLE_RATE_HZ), TABLE_RATE_HZ) / _gain(sos, sample_rate_hz)
    return sos


def _unscaled(sample_rate_hz: float) -> Array:
    k = math.tan(math.pi * SHELF_HZ / sample_rate_hz)
    vh = 10.0 ** (SHELF_DB / 20.0)
    vb = vh**SHELF_BAND_POWER
    a0 = 1.0 + k / SHELF_Q + k * k
    b = [(vh + vb * k / SHELF_Q + k * k) / a0, 2.0 * (k * k - vh) / a0, (vh - vb * k / SHELF_Q + k * k) / a0]  # (1)
    shelf = [*b, *_denominator(k, SHELF_Q)]
    high_pass = [1.0, -2.0, 1.0, *_denominator(math.tan(math.pi * HIGH_PASS_HZ / sample_rate_hz), HIGH_PASS_Q)]
    return np.array([shelf, high_pass])


def _denominator(k: float, q: float) -> list[float]:
    a0 = 1.0 + k / q + k * k
    return [1.0, 2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0]  # (3)


def _gain(sos: Array, sample_rate_hz: float) -> float:
    z = cmath.exp(-2j * math.pi * CALIBRATION_HZ / sample_rate_hz)
    gain = 1.0
    for b0, b1, b2, _, a1, a2 in sos.tolist():
        gain *= abs((b0 + b1 * z + b2 * z * z) / (1.0 + a1 * z + a2 * z * z))
    return gain
