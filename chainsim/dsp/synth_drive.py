"""The synth's drive: soft, symmetric saturation at four times the sample rate, each sample a mean over the way to it.

    f(v) = v / sqrt(1 + v^2),   F(v) = sqrt(1 + v^2)                                              (1)
    y[n] = (F(v[n]) - F(v[n-1])) / (v[n] - v[n-1]) = (v[n] + v[n-1]) / (F(v[n]) + F(v[n-1]))           (2)

Equation (2) is the first-order antiderivative method [1]_; for this curve the quotient can be rewritten, so that equal
neighbours need no case of their own. With v = A x, what comes out is sqrt(1 + A^2) / A times (2): x = 1 stays 1 at
any drive A, and A = 0 leaves the sound as it is.

References
----------
.. [1] J. D. Parker, V. Zavalishin, E. Le Bivic, "Reducing the Aliasing of Nonlinear Waveshaping Using Continuous-Time
   Convolution", DAFx-16, 2016.
"""

from __future__ import annotations

import math

from chainsim.dsp.half_band import half_band_branch, half_band_coefficients, half_band_delay
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

NEAR = half_band_coefficients(7, 0.2154)
"""Between the sample rate and twice it: flat to 19 kHz at 44.1 kHz, more than 100 dB down from 25.1 kHz on."""

FAR = half_band_coefficients(4, 0.1134)
"""Between twice the rate and four times it."""

STATES = 32
"""Length of a channel's state: two of the near filter, two of the far one, the curve's last input, and F of it."""

DELAY_SAMPLES = half_band_delay(NEAR) - 0.5 + (half_band_delay(FAR) - 0.5) / 2.0 + 0.125
"""Of low frequencies, both ways and the mean of equation (2) together; the way down reads the newer of two samples."""


@kernel
def drive_up_and_down(drive: Array, near: Array, far: Array, z: Array, y: Audio) -> None:
    """Drive y (channels, frames) in place.

    Parameters
    ----------
    drive : ndarray, shape (frames,)
        A of the module's text; 0 leaves the sound as it is, but for its delay.
    near, far : ndarray
        `NEAR` and `FAR`.
    z : ndarray, shape (channels, STATES)
        State, zero at the start.
    y : ndarray, shape (channels, frames)
    """
    m, n = near.shape[0] + 2, far.shape[0] + 2
    for c in range(y.shape[0]):
        up, down = z[c, :m], z[c, m : 2 * m]
        far_up, far_down = z[c, 2 * m : 2 * m + n], z[c, 2 * m + n : 2 * m + 2 * n]
        before, root = z[c, 2 * m + 2 * n], max(z[c, 2 * m + 2 * n + 1], 1.0)
        last, squared, scale = -1.0, 0.0, 1.0
        for i in range(y.shape[1]):
            if drive[i] != last:
                last = drive[i]
                squared = last * last
                scale = math.sqrt(1.0 + squared)
            x = y[c, i]
            folded = 0.0
            for half in range(2):
                v = half_band_branch(x, near, half, up)
                bent = 0.0
                for quarter in range(2):
                    u = half_band_branch(v, far, quarter, far_up)
                    new_root = math.sqrt(1.0 + squared * (u * u))
                    mean = scale * (u + before) / (new_root + root)
                    before, root = u, new_root
                    # The older of two samples goes through the branch behind the unit delay.
                    bent += half_band_branch(mean, far, 1 - quarter, far_down)
                folded += half_band_branch(0.5 * bent, near, 1 - half, down)
            y[c, i] = 0.5 * folded
        z[c, 2 * m + 2 * n], z[c, 2 * m + 2 * n + 1] = before, root
