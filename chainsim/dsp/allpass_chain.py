"""A chain of equal first-order allpasses inside a feedback loop without delay, safe while its frequency moves.

    g = tan(pi fc / fs),   a = (g - 1) / (g + 1),   c = sqrt(1 - a^2)                                            (1)
    y = a u + c s,   s' = c u - a s                             each stage                                       (2)
    u = x + k w,     w = the chain's output                     the loop                                         (3)

A stage is (a + z^-1) / (1 + a z^-1), the bilinear transform, prewarped at fc, of (1 - s) / (1 + s): it turns the phase
by -2 atan(tan(pi f / fs) / g), by -90 degrees at fc. In the normalized form (2) [1]_ it is a rotation of u and s, so
that the chain neither gains nor loses energy however fc moves, and the loop stays bounded for any |k| < 1. As N stages
pass on a^N u + B at once, with B from their states alone, the loop's equation is solved without a delay in it [2]_:

    u = (x + k B) / (1 - k a^N)                                                                                  (4)

Added to the sound as it came, N stages leave notches where they turn it by an odd number of half turns:

    tan(pi f / fs) = g tan((2 m + 1) pi / (2 N)),   m = 0, 1, ...                                                (5)

References
----------
.. [1] A. H. Gray, J. D. Markel, "A Normalized Digital Filter Structure", IEEE Trans. ASSP 23(3), 1975, 268-277.
.. [2] V. Zavalishin, The Art of VA Filter Design: the phaser, and feedback without delay.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.envelope import FLUSH
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

MOST_STAGES = 12

TOP = 0.45
"""Highest frequency, as a share of the sample rate."""


@kernel
def sweep_allpasses(low_hz: Array, high_hz: Array, waves: Array, sample_rate_hz: float, turn: Audio) -> None:
    """Turn `waves`, -1 to 1, into frequencies even in octaves from low to high, and fill `turn` with a of equation (1).

    low_hz and high_hz are of shape (frames,), waves and turn (channels, frames).
    """
    top_hz = TOP * sample_rate_hz
    for c in range(waves.shape[0]):
        last_low, last_high, last_wave, start, span, found = math.nan, math.nan, math.nan, 0.0, 0.0, 0.0
        for i in range(waves.shape[1]):
            if low_hz[i] != last_low or high_hz[i] != last_high:
                last_low, last_high, last_wave = low_hz[i], high_hz[i], math.nan
                start, span = math.log(last_low), math.log(last_high / last_low)
            if waves[c, i] != last_wave:
                last_wave = waves[c, i]
                hz = min(math.exp(start + span * (0.5 + 0.5 * last_wave)), top_hz)
                g = math.tan(math.pi * hz / sample_rate_hz)
                found = (g - 1.0) / (g + 1.0)
            turn[c, i] = found


@kernel
def allpass_loop(
    x: Audio, turn: Audio, feedback_percent: Array, dry: Array, wet: Array, stages: int, z: Audio, y: Audio
) -> None:
    """Fill y (channels, frames) with dry times x plus wet times sqrt(1 - k^2) w of equation (3).

    The root makes the loop's power gain 1 as a mean over all phases; far below the chain's frequency it is
    (1 + k) / (1 - k).

    Parameters
    ----------
    x : ndarray, shape (1 or channels, frames)
    turn : ndarray, shape (channels, frames)
        a of equation (1).
    feedback_percent, dry, wet : ndarray, shape (frames,)
        100 k, between -100 and 100 without these, and two gains.
    stages : int
    z : ndarray, shape (channels, MOST_STAGES)
        States s, zero at the start.
    y : ndarray, shape (channels, frames)
    """
    for c in range(y.shape[0]):
        sound, s = x[min(c, x.shape[0] - 1)], z[c]
        last, k, even = math.nan, 0.0, 1.0
        for i in range(y.shape[1]):
            if feedback_percent[i] != last:
                last = feedback_percent[i]
                k = 0.01 * last
                even = math.sqrt(1.0 - k * k)
            a = turn[c, i]
            r = math.sqrt(1.0 - a * a)
            through, held = 1.0, 0.0
            for m in range(stages):
                through *= a
                held = a * held + r * s[m]
            u = (sound[i] + k * held) / (1.0 - k * through)
            for m in range(stages):
                before = s[m]
                s[m] = r * u - a * before
                u = a * u + r * before
            if sound[i] == 0.0:
                for m in range(stages):
                    if abs(s[m]) < FLUSH:
                        s[m] = 0.0
            y[c, i] = dry[i] * sound[i] + wet[i] * (even * u)


def ring_cycles(stages: int, feedback: float, floor: float) -> float:
    """Periods of fc in which what the loop has taken in comes down to `floor`, whatever it was.

    After the time t, no sound of size 1 leaves more than the sum of the impulse response's size from t on. That is
    found at fc = fs / 50, where the sum is the same as for any lower share of the rate but for its scale.

    Parameters
    ----------
    stages : int
    feedback : float, -1 < feedback < 1
    floor : float, 0 < floor < 1
    """
    step, frames = 0.02, 8_192
    g = math.tan(math.pi * step)
    turn, k = np.full((1, frames), (g - 1.0) / (g + 1.0)), np.full(frames, 100.0 * feedback)
    zero, one, z = np.zeros(frames), np.ones(frames), np.zeros((1, MOST_STAGES))
    x = np.zeros((1, frames))
    sizes: list[Array] = []
    x[0, 0] = 1.0
    while not sizes or (np.abs(z).max() > 1e-3 * floor and len(sizes) < 64):
        y = np.empty((1, frames))
        allpass_loop(x, turn, k, zero, one, stages, z, y)
        sizes.append(np.abs(y[0]))
        x[0, 0] = 0.0
    left = np.cumsum(np.concatenate(sizes)[::-1])[::-1]
    return float(np.count_nonzero(left > floor)) * step
