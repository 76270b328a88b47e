"""How far the moved peaks of a phase vocoder are turned from frame to frame.

A voice R times as high as the sound has R times its phase: from the frame before, `hop` samples earlier, the turn goes
on by

    theta_m = theta_{m-1} + (R - 1) (phi_m - phi_{m-1})                                                         (1)

phi being the phase of the peak, unwrapped, so that what is in tune stays so. Peaks that an attack at time t_a brought
are turned by

    theta = (R - 1) 2 pi f (t - t_a) / n                                                                        (2)

while it is in the frame. At t_a they all have their own phases, so that the attack stays one, and from there on (1)
keeps the shape of the waveform.

References
----------
.. [1] J. Laroche, M. Dolson, "New phase-vocoder techniques for pitch-shifting, harmonizing and other exotic effects",
   IEEE WASPAA 1999, 91-94.
.. [2] A. Roebel, "A new approach to transient processing in the phase vocoder", DAFx 2003, 344-349: phases are set
   anew at attacks, for the peaks that belong to them and for no others.
"""

from __future__ import annotations

import math

from chainsim.dsp.spectral_peaks import BIN, FREQUENCY, PHASE, POWER, Counts
from chainsim.kernel import kernel
from chainsim.units import Array

HOPS = 4
"""In a frame."""

GROWN = 4.0
"""A peak belongs to an attack if its power grew to so many times what it was a hop before."""

NEAR = 2.0
"""Two peaks a hop apart, at most so many bins from each other, are one: farther ones' phases can't be told apart."""

TURN = 2.0 * math.pi


@kernel
def turn_peaks(
    since: int,
    n: int,
    ratios: Array,
    count: int,
    peaks: Array,
    regions: Counts,
    new: Counts,
    theta: Array,
    old_count: int,
    old_peaks: Array,
    old_owner: Counts,
    old_new: Counts,
    old_theta: Array,
) -> None:
    """Fill theta (voices, most) by equation (1), or (2) for `new` peaks; the attack came `since` samples ago."""
    hop = n // HOPS
    # One hop longer than the attack is in the frame, so that (1) goes on from a phase that is exact.
    attacked = since < n // 2 + hop
    for j in range(count):
        pace = TURN * peaks[FREQUENCY, j] / n
        old = old_owner[regions[BIN, j]] if old_count > 0 else -1
        advance = pace * hop
        if old >= 0 and abs(peaks[FREQUENCY, j] - old_peaks[FREQUENCY, old]) < NEAR:
            advance = 0.5 * (advance + TURN * old_peaks[FREQUENCY, old] / HOPS)
            unlike = peaks[PHASE, j] - old_peaks[PHASE, old] - advance
            advance += unlike - TURN * math.floor(unlike / TURN + 0.5)
        grown = old < 0 or old_new[old] == 1 or peaks[POWER, j] > GROWN * old_peaks[POWER, old]
        new[j] = 1 if attacked and grown else 0
        for v in range(theta.shape[0]):
            if new[j] == 1:
                turned = (ratios[v] - 1.0) * pace * since
            else:
                turned = (old_theta[v, old] if old >= 0 else 0.0) + (ratios[v] - 1.0) * advance
            theta[v, j] = turned - TURN * math.floor(turned / TURN + 0.5)
