"""Envelopes: a running peak, a follower with release and attack after it, and the one-pole sections around them.

The follower is the smooth decoupled peak detector of [1]_ (release first, then attack) behind a running peak, so that
the wait from one crest of a low note to the next does not show as ripple:

    w[n] = max of x[n-H] ... x[n]                                                  (1)
    p[n] = w[n] if w[n] >= p[n-1], else aR p[n-1] + (1 - aR) w[n]                   (2)
    e[n] = aA e[n-1] + (1 - aA) p[n]                                               (3)

with a = exp(-1 / (tau fs)), tau being the time to 1 - 1/e. H = 0 makes w = x, attack 0 makes e = p. The maximum (1) is
kept as a peak and the best candidate to come after it. That is exact for what repeats within H; of a falling sound it
may miss a crest that a later, higher one will replace.

References
----------
.. [1] D. Giannoulis, M. Massberg, J. D. Reiss, "Digital Dynamic Range Compressor Design - A Tutorial and Analysis",
   JAES 60(6), 2012, 399-408.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.kernel import kernel
from chainsim.units import Array, Audio, ms_to_samples, one_pole_coefficient

FLUSH = 1e-30
"""State below this is set to 0: far under any sound, far above the numbers that slow a processor down."""

TWO_POLES = 2.146193220620583
"""Time, in time constants, at which two equal one-poles in a row reach 1 - 1/e: (1 + u) exp(-u) = exp(-1)."""

_CASCADE = math.sqrt(math.sqrt(2.0) - 1.0)


@kernel
def running_peak(
    level: float, peak: float, left: int, second: float, second_left: int, hold: int
) -> tuple[float, int, float, int]:
    """One sample of equation (1).

    Parameters
    ----------
    level : float >= 0
        Rectified input.
    peak, left : float, int
        State: w and for how many more samples it holds.
    second, second_left : float, int
        State: the highest level since then, and its own rest.
    hold : int
        H, in samples.

    Returns
    -------
    peak, left, second, second_left
        The new state.
    """
    if level >= peak:
        return level, hold, 0.0, 0
    if level >= second:
        second, second_left = level, hold
    else:
        second_left -= 1
    if left > 0:
        return peak, left - 1, second, second_left
    return second, second_left, 0.0, 0


@kernel
def release_then_attack(
    peak: float, falling: float, smooth: float, attack: float, release: float
) -> tuple[float, float]:
    """One sample of equations (2) and (3): state and result are p (`falling`) and e (`smooth`)."""
    falling = peak if peak >= falling else peak + release * (falling - peak)
    smooth = falling + attack * (smooth - falling)
    if falling < FLUSH:
        falling = 0.0
    if smooth < FLUSH:
        smooth = 0.0
    return falling, smooth


@kernel
def follow_peaks(
    x: Audio, attack: float, release: float, hold: int, z: Array, rest: npt.NDArray[np.int64], envelope: Array
) -> None:
    """Fill `envelope` (frames,) with the peak envelope of x (channels, frames), the loudest channel counting.

    Equations (1) to (3); coefficients from `follower`. State, all zero at the start: z (4,) = peak, second, p, e;
    rest (2,) int64 = what is left of the two peaks.
    """
    peak, second, falling, smooth = z[0], z[1], z[2], z[3]
    left, second_left = rest[0], rest[1]
    for i in range(x.shape[1]):
        level = 0.0
        for c in range(x.shape[0]):
            level = max(level, abs(x[c, i]))
        peak, left, second, second_left = running_peak(level, peak, left, second, second_left, hold)
        falling, smooth = release_then_attack(peak, falling, smooth, attack, release)
        envelope[i] = smooth
    z[0], z[1], z[2], z[3] = peak, second, falling, smooth
    rest[0], rest[1] = left, second_left


def follower(attack_ms: float, hold_ms: float, release_ms: float, sample_rate_hz: float) -> tuple[float, float, int]:
    """Coefficients (attack, release, hold) of `follow_peaks`.

    Parameters
    ----------
    attack_ms, release_ms : float >= 0
        Times to 1 - 1/e of a rise and of a fall.
    hold_ms : float >= 0
        H: one period of the lowest note keeps ripple out.
    sample_rate_hz : float > 0
    """
    return (
        one_pole_coefficient(attack_ms / 1000.0, sample_rate_hz),
        one_pole_coefficient(release_ms / 1000.0, sample_rate_hz),
        round(ms_to_samples(hold_ms, sample_rate_hz)),
    )


def two_pole_coefficient(time_ms: float, sample_rate_hz: float) -> float:
    """Coefficient a of two equal one-poles in a row that together reach 1 - 1/e after `time_ms` > 0."""
    return one_pole_coefficient(time_ms / 1000.0 / TWO_POLES, sample_rate_hz)


def low_cut_coefficient(cutoff_hz: float, sample_rate_hz: float) -> float:
    """Coefficient b of the two one-pole high-passes of `low_cut_level`, which together are 3.01 dB down at `cutoff_hz`.

    Each is the trapezoidal one-pole with G = g / (1 + g), g = tan(pi fc / fs); b = 2 G.

    Parameters
    ----------
    cutoff_hz : float, 0 < cutoff_hz < sample_rate_hz / 2
    sample_rate_hz : float

    References
    ----------
    .. [1] V. Zavalishin, The Art of VA Filter Design, the chapter on the one-pole trapezoidal integrator filter.
    """
    g = _CASCADE * math.tan(math.pi * cutoff_hz / sample_rate_hz)
    return 2.0 * g / (1.0 + g)


@kernel
def low_cut_level(x: Audio, b: float, z: Array, level: Array) -> None:
    """Fill `level` (frames,) with the rectified, low-cut x (channels, frames), the loudest channel counting.

    Two one-pole high-passes in a row, 12 dB an octave. b is of `low_cut_coefficient`; z (channels, 2) is the state,
    zero at the start.
    """
    keep, pole = 1.0 - 0.5 * b, 1.0 - b
    for c in range(x.shape[0]):
        z0, z1 = z[c, 0], z[c, 1]
        for i in range(x.shape[1]):
            v = x[c, i]
            first = keep * (v - z0)
            z0 = pole * z0 + b * v
            heard = abs(keep * (first - z1))
            z1 = pole * z1 + b * first
            if v == 0.0:
                if abs(z0) < FLUSH:
                    z0 = 0.0
                if abs(z1) < FLUSH:
                    z1 = 0.0
            level[i] = heard if c == 0 else max(level[i], heard)
        z[c, 0], z[c, 1] = z0, z1
