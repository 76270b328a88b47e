"""Absorption filters of a feedback delay network: each line loses what the decay time asks for, at every frequency.

A line of m samples must lose 60 m / (fs T60(f)) dB a pass (Jot and Chaigne 1991). Here T60 is `decay_s` in the middle,
`low_ratio` times it below 250 Hz and `high_ratio` times it above 4 kHz, by a gain and two third-order shelves:

    H(s) = g (s + a w)(s^2 + a w s + a^2 w^2) / ((s + w/a)(s^2 + w s / a + w^2 / a^2)),  a = G^(1/6)             (1)

is the low shelf: poles and zeros at Butterworth angles on circles a apart from w, so that H is g G at 0 Hz, g far above
w and g sqrt(G) at w. The high shelf is its mirror image s -> 1/s. In dB and for small G the shelf follows
1 / (1 + (f/w)^6), steep enough for 125 Hz and 500 Hz to be told apart. The bilinear transform has w = tan(pi f0 / fs).

Sources: J.-M. Jot and A. Chaigne, "Digital delay networks for designing artificial reverberators", AES 90th
convention, 1991; S. J. Orfanidis, "High-order digital parametric equalizer design", J. AES 53, 2005 (shelves with
Butterworth circles).
"""

from __future__ import annotations

import math

from chainsim.kernel import kernel
from chainsim.units import Array

LOW_HZ = 240.0
HIGH_HZ = 4200.0
SECTIONS = 3
"""Second-order sections a line: the two first-order factors share one."""

COEFFICIENTS = 4 * SECTIONS + 1
"""Rows of coefficients: b1, b2, a1, a2 of each section in turn (b0 is 1), then the gain."""


def corner(freq_hz: float, sample_rate_hz: float) -> float:
    """Prewarped corner w of a shelf; at most at 0.45 of the rate."""
    return math.tan(math.pi * min(freq_hz / sample_rate_hz, 0.45))


@kernel
def design_absorption(
    loss: Array, low_ratio: float, high_ratio: float, low_w: float, high_w: float, gain: float, coefficients: Array
) -> None:
    """Design equation (1), times `gain`, for lines that lose `-loss` nepers a pass in the middle.

    Parameters
    ----------
    loss : ndarray, shape (lines,), <= 0
    low_ratio, high_ratio : float > 0
    low_w, high_w : float
        Corners of the shelves, as `corner` gives them.
    gain : float
    coefficients : ndarray, shape (13, lines)
        Filled.
    """
    for k in range(loss.shape[0]):
        a_low = math.exp(loss[k] * (1.0 / low_ratio - 1.0) / 6.0)
        a_high = math.exp(loss[k] * (1.0 / high_ratio - 1.0) / 6.0)
        low_zero, low_pole = low_w * a_low, low_w / a_low
        high_zero, high_pole = a_high / high_w, 1.0 / (a_high * high_w)
        whole = gain * math.exp(loss[k])

        scale = 1.0 / (1.0 + low_zero + low_zero * low_zero)
        coefficients[0, k] = scale * 2.0 * (low_zero * low_zero - 1.0)
        coefficients[1, k] = scale * (1.0 - low_zero + low_zero * low_zero)
        whole /= scale
        scale = 1.0 / (1.0 + low_pole + low_pole * low_pole)
        coefficients[2, k] = scale * 2.0 * (low_pole * low_pole - 1.0)
        coefficients[3, k] = scale * (1.0 - low_pole + low_pole * low_pole)
        whole *= scale

        scale = 1.0 / (1.0 + high_zero + high_zero * high_zero)
        coefficients[4, k] = scale * 2.0 * (1.0 - high_zero * high_zero)
        coefficients[5, k] = scale * (1.0 - high_zero + high_zero * high_zero)
        whole /= scale
        scale = 1.0 / (1.0 + high_pole + high_pole * high_pole)
        coefficients[6, k] = scale * 2.0 * (1.0 - high_pole * high_pole)
        coefficients[7, k] = scale * (1.0 - high_pole + high_pole * high_pole)
        whole *= scale

        low_1, high_1 = (low_zero - 1.0) / (low_zero + 1.0), (1.0 - high_zero) / (1.0 + high_zero)
        coefficients[8, k] = low_1 + high_1
        coefficients[9, k] = low_1 * high_1
        low_1, high_1 = (low_pole - 1.0) / (low_pole + 1.0), (1.0 - high_pole) / (1.0 + high_pole)
        coefficients[10, k] = low_1 + high_1
        coefficients[11, k] = low_1 * high_1
        coefficients[12, k] = whole * (1.0 + low_zero) * (1.0 + high_zero) / ((1.0 + low_pole) * (1.0 + high_pole))
