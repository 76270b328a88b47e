"""How wide a sound of two channels is: their difference against their sum.

    W = 10 log10( (S + k (M + S + P)) / (M + P + k (M + S + P)) ),   k = 0.01                                  (1)

M and S are the powers of half the sum and half the difference in a band, P the power that is hardly heard. W is -20 dB
where the channels are equal, or silent, 0 dB where they have nothing in common, 20 dB where one is the other inverted;
and it moves by 3 dB for about what is just heard [1]_: a correlation of 0.98 in place of 1, or of 0.4 in place of 0.

References
----------
.. [1] K. J. Gabriel, H. S. Colburn, "Interaural correlation discrimination: I. Bandwidth and level dependence", J.
   Acoust. Soc. Am. 69, 1981, 1394-1401, from memory.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.units import Array

LEAST_SHARE = 0.01
WIDTH_OF_ONE_DB = 10.0 * math.log10(LEAST_SHARE / (1.0 + LEAST_SHARE))
"""Of one channel, which counts as two that are equal."""


def width_levels(middle: Array, side: Array, least_power: Array) -> Array:
    """Equation (1) for powers of shape (frames, bands)."""
    share = LEAST_SHARE * (middle + side + least_power)
    level_db: Array = 10.0 * np.log10((side + share) / (middle + least_power + share))
    return level_db
