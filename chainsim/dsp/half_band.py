"""Half-band filters of two allpass branches, for going to twice the sample rate and back.

    H(z) = (A0(z^2) + z^-1 A1(z^2)) / 2,   A(z) = product of (a + z^-1) / (1 + a z^-1)                 (1)

with every second coefficient a, in rising order, in A0 and the others in A1. Elliptic, and its own power complement:
the stop band is as deep as the pass band is flat. Both branches run at the lower rate.

References
----------
.. [1] R. A. Valenzuela, A. G. Constantinides, "Digital signal processing schemes for efficient interpolation and
   decimation", IEE Proceedings G 130(6), 1983: the coefficients.
"""

from __future__ import annotations

import numpy as np

from chainsim.kernel import kernel
from chainsim.units import Array

_TERMS = 12
"""Of the theta series: far more than double precision needs."""


def half_band_coefficients(count: int, pass_share: float) -> Array:
    """Coefficients a of equation (1), in rising order.

    Parameters
    ----------
    count : int > 0
        How many; each more deepens the stop band.
    pass_share : float, 0 < pass_share < 0.25
        End of the pass band as a share of the higher rate; the stop band begins at 0.5 - pass_share.

    Returns
    -------
    ndarray, shape (count,)
    """
    k = np.tan(np.pi * pass_share) ** 2
    root = (1.0 - k * k) ** 0.25
    e = 0.5 * (1.0 - root) / (1.0 + root)
    nome = e + 2.0 * e**5 + 15.0 * e**9 + 150.0 * e**13
    i = np.arange(_TERMS)[:, None]
    angle = np.pi * np.arange(1, count + 1) / (2 * count + 1)
    signs = (-1.0) ** i
    above = nome**0.25 * np.sum(signs * nome ** (i * (i + 1.0)) * np.sin((2 * i + 1) * angle), axis=0)
    below = 0.5 + np.sum((signs * nome ** (i * i * 1.0) * np.cos(2 * i * angle))[1:], axis=0)
    w2 = (above / below) ** 2
    x = np.sqrt((1.0 - w2 * k) * (1.0 - w2 / k)) / (1.0 + w2)
    found: Array = (1.0 - x) / (1.0 + x)
    return found


def half_band_delay(a: Array) -> float:
    """Delay of low frequencies, in samples of the higher rate: the mean of both branches."""
    each = 2.0 * (1.0 - a) / (1.0 + a)
    return 0.5 * float(each[0::2].sum() + 1.0 + each[1::2].sum())


@kernel
def half_band_branch(x: float, a: Array, branch: int, z: Array) -> float:
    """One sample of A0 (`branch` 0) or A1 (1) at the lower rate; state z (coefficients + 2,), zero at the start.

    Each section keeps its last output, which is the next one's last input; z[0] and z[1] are the branches' last inputs.
    """
    before = z[np.uint64(branch)]
    z[np.uint64(branch)] = x
    for k in range(branch, a.shape[0], 2):
        at = np.uint64(k + 2)
        y = before + a[np.uint64(k)] * (x - z[at])
        before = z[at]
        z[at] = y
        x = y
    return x
