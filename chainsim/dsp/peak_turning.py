"""How far the moved peaks of a phase vocoder are turned from frame to frame.

A voice R times as high as the sound has R times its phase: from the frame before, `hop` samples earlier, the turn goes
on by

    theta_m = theta_{m-1} + (R - 1) (phi_m - phi_{m-1})                                                         (1)

phi being the phase of the peak at the frame's time, unwrapped, so that what is in tune stays so. Peaks that an attack
at time t_a brought are turned by

    theta = (R - 1) 2 pi f (t - t_a) / n                                                                        (2)

while it is in the frame. At t_a they all have their own phases, so that the attack stays one, and from there on (1)
keeps the shape of the waveform.

The frequency that a frame shows is that of its middle. At its time, a little later, it is taken to have gone on as it
went since the frame before.

References
----------
.. [1] J. Laroche, M. Dolson, "New phase-vocoder techniques for pitch-shifting, harmonizing and other exotic effects",
   IEEE WASPAA 1999, 91-94.
.. [2] A. Roebel, "A new approach to transient processing in the phase vocoder", DAFx 2003, 344-349: phases are set
   anew at attacks, for the peaks that belong to them and for no others.
"""

from __future__ import annotations

import numpy as np

from chainsim.dsp.peak_frames import Frames
from chainsim.dsp.spectral_peaks import BIN, FREQUENCY, NOW_FREQUENCY, PHASE, POWER, TURN, Peaks
from chainsim.kernel import kernel
from chainsim.units import Array

GROWN = 4.0
"""A peak belongs to an attack if its power grew to so many times what it was a hop before."""

NEAR = 2.0
"""Two peaks a hop apart, at most so many bins from each other, are one: farther ones' phases can't be told apart."""


@kernel
def turn_peaks(since: int, frames: Frames, ratios: Array, found: Peaks, before: Peaks) -> None:
    """Turn the peaks found by equation (1), or (2) where they are new, from those of the frame before.

    The attack came `since` samples before the frame's time.
    """
    n, hop = frames.n, frames.hop
    late = 0.5 - frames.ahead / n
    # One hop longer than the attack is in the frame, so that (1) goes on from a phase that is exact.
    lasting = n - frames.ahead + hop
    measured, old_measured = found.measured, before.measured
    for j in range(found.total[0]):
        pace = TURN * measured[FREQUENCY, j] / n
        old = before.owner[found.regions[BIN, j]] if before.total[0] > 0 else -1
        advance = pace * hop
        measured[NOW_FREQUENCY, j] = measured[FREQUENCY, j]
        if old >= 0 and abs(measured[FREQUENCY, j] - old_measured[FREQUENCY, old]) < NEAR:
            rise = measured[FREQUENCY, j] - old_measured[FREQUENCY, old]
            measured[NOW_FREQUENCY, j] = max(measured[FREQUENCY, j] + rise * late * n / hop, 0.0)
            unlike = measured[PHASE, j] - old_measured[PHASE, old] - advance
            advance += unlike - TURN * np.floor(unlike * (1.0 / TURN) + 0.5)
        grown = old < 0 or before.new[old] == 1 or measured[POWER, j] > GROWN * old_measured[POWER, old]
        found.new[j] = 1 if since < lasting and grown else 0
        for v in range(found.theta.shape[0]):
            if found.new[j] == 1:
                turned = (ratios[v] - 1.0) * pace * since
            else:
                turned = (before.theta[v, old] if old >= 0 else 0.0) + (ratios[v] - 1.0) * advance
            found.theta[v, j] = turned - TURN * np.floor(turned * (1.0 / TURN) + 0.5)
