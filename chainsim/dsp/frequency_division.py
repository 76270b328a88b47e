"""Division of a frequency by two and by four: a trigger with hysteresis, two flip-flops, and steps without aliases.

With v the sound, e its envelope and h the hysteresis,

    the trigger goes up where v passes h e, and down where it passes -h e                                       (1)

and keeps its state in between, as the trigger of [1]_ does. Each time it goes up the first flip-flop [2]_ turns over,
and each time that one goes up the second: squares of a half and of a quarter of the frequency. Nothing here knows what
a pitch is: a period that swings past both thresholds twice is counted as two, and both squares leap up an octave.

A crossing lies a share d of a sample before the sample that is over it, between the two on a straight line. There the
step is replaced by the integral S of the cubic B-spline [3]_, four samples wide,

    S(t) = (t + 2)^4 / 24 for -2 <= t <= -1,   1/2 + 2 t / 3 - t^3 / 3 - t^4 / 8 for -1 <= t <= 0,
    S(t) = 1 - S(-t) for t > 0                                                                                  (2)

which makes of the ideal square one whose parts at f, and whose aliases from f, are sinc(f / fs)^4 of themselves, two
samples late.

References
----------
.. [1] O. H. Schmitt, "A thermionic trigger", Journal of Scientific Instruments 15(1), 1938.
.. [2] W. H. Eccles, F. W. Jordan, "A trigger relay utilising three-electrode thermionic vacuum tubes", The Electrician
   83, 1919.
.. [3] V. Valimaki, J. Pekonen, J. Nam, "Perceptually informed synthesis of bandlimited classical waveforms using
   integrated polynomial interpolation", JASA 131(1), 2012: B-spline steps.
"""

from __future__ import annotations

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array

LATE = 2
"""Samples by which the squares are late."""


def rest() -> tuple[Array, Array]:
    """State of `divide_frequency` at rest: trigger, flip-flops, way to the upper threshold; what is left of steps."""
    steps = np.zeros((2, 6))
    steps[:, :2] = -1.0
    return np.array([-1.0, -1.0, -1.0, 0.0]), steps


@kernel
def spline_step(t: float) -> float:
    """S of equation (2), for -2 <= t <= 0."""
    if t < -1.0:
        u = (t + 2.0) * (t + 2.0)
        return u * u / 24.0
    return 0.5 + t * (2.0 / 3.0 - t * t * (1.0 / 3.0 + t * 0.125))


@kernel
def turn_over(sign: float, share: float, steps: Array) -> None:
    """Enter a step to `sign`, `share` of a sample before the newest sample, into the corrections in `steps`."""
    size = 2.0 * sign
    steps[2] += size * spline_step(share - 2.0)
    steps[3] += size * spline_step(share - 1.0)
    steps[4] -= size * spline_step(-share)
    steps[5] -= size * spline_step(-1.0 - share)


@kernel
def next_square(sign: float, steps: Array) -> float:
    """Value `LATE` samples ago of a square that is now at `sign`; `steps` begins with its last two signs."""
    value: float = steps[0] + steps[2]
    steps[0], steps[1] = steps[1], sign
    steps[2], steps[3], steps[4], steps[5] = steps[3], steps[4], steps[5], 0.0
    return value


@kernel
def divide_frequency(
    v: Array, envelope: Array, hysteresis: float, floor: float, z: Array, steps: Array, by_two: Array, by_four: Array
) -> None:
    """Fill `by_two` and `by_four` (frames,) with squares of height 1.

    Parameters
    ----------
    v, envelope : ndarray, shape (frames,)
        The sound and its envelope, of equation (1).
    hysteresis : float, 0 <= hysteresis < 1
        h.
    floor : float >= 0
        The trigger stays as it is while the envelope is not over this.
    z, steps : ndarray, shape (4,) and (2, 6)
        State, from `rest`.
    by_two, by_four : ndarray, shape (frames,)
    """
    trigger, half, quarter, before = z[0], z[1], z[2], z[3]
    of_half, of_quarter = steps[0], steps[1]
    for i in range(v.shape[0]):
        threshold = hysteresis * envelope[i]
        over = v[i] - threshold
        if envelope[i] > floor:
            if trigger < 0.0 and over > 0.0:
                trigger = 1.0
                share = over / (over - before) if before < 0.0 else 1.0
                half = -half
                turn_over(half, share, of_half)
                if half > 0.0:
                    quarter = -quarter
                    turn_over(quarter, share, of_quarter)
            elif trigger > 0.0 and v[i] < -threshold:
                trigger = -1.0
        before = over
        by_two[i] = next_square(half, of_half)
        by_four[i] = next_square(quarter, of_quarter)
    z[0], z[1], z[2], z[3] = trigger, half, quarter, before
