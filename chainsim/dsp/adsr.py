"""Envelope of attack, decay, sustain and release, each an exponential as a charging capacitor makes it.

    attack:  e' = e + (1 - a) (1 / (1 - 1/e0) - e), up to 1, e0 being Euler's number                         (1)
    decay:   e' = e + (1 - d) (sustain - e)                                                           (2)
    release: e' = r e                                                                                (3)

An attack from silence reaches 1 in its time; decay and release come to 1 - 1/e0 of their way in theirs. A new attack
goes on from where the envelope is, so that nothing clicks.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.envelope import FLUSH
from chainsim.kernel import kernel
from chainsim.units import Array, one_pole_coefficient

OVERSHOOT = 1.0 / (1.0 - math.exp(-1.0))
"""Where the attack of equation (1) is heading."""


def adsr_coefficients(
    attack_ms: float, decay_ms: float, sustain: float, release_ms: float, sample_rate_hz: float
) -> Array:
    """What `adsr` wants, shape (4,): a, d, sustain, r of equations (1) to (3).

    Parameters
    ----------
    attack_ms, decay_ms, release_ms : float >= 0
    sustain : float, 0 to 1
    sample_rate_hz : float
    """
    a, d, r = (one_pole_coefficient(t / 1000.0, sample_rate_hz) for t in (attack_ms, decay_ms, release_ms))
    return np.array([a, d, sustain, r])


@kernel
def adsr(start: Array, sounding: Array, coefficients: Array, z: Array, y: Array) -> None:
    """Fill y (frames,) with the envelope.

    Parameters
    ----------
    start : ndarray, shape (frames,)
        1 at samples at which a note begins anew, else 0.
    sounding : ndarray, shape (frames,)
        1 while the note is held, 0 from its release on.
    coefficients : ndarray, shape (4,)
        From `adsr_coefficients`.
    z : ndarray, shape (2,)
        State, zero at the start: e, and 1 while attacking.
    """
    e, attacking = z[0], z[1]
    attack, decay, sustain, release = coefficients[0], coefficients[1], coefficients[2], coefficients[3]
    for i in range(y.shape[0]):
        if start[i] != 0.0:
            attacking = 1.0
        if sounding[i] == 0.0:
            attacking = 0.0
            e = release * e
            if e < FLUSH:
                e = 0.0
        elif attacking != 0.0:
            e += (1.0 - attack) * (OVERSHOOT - e)
            if e >= 1.0:
                e, attacking = 1.0, 0.0
        else:
            e += (1.0 - decay) * (sustain - e)
            if e < FLUSH:
                e = 0.0
        y[i] = e
    z[0], z[1] = e, attacking
