"""The moments at which a gate starts to open, to a quarter of a millisecond, and the level of the dry sound at them.

About each opening the wet sound y is taken for g x with

    g(t) = F  before t0,   1 - (1 - F) s((t - t0) / tau)  after,   s(u) = exp(-u) or (1 + u) exp(-u)             (1)

F being the closed gate's gain and s that of one smoother or of two in a row. s and tau are the same for all openings,
t0 is one for each: those that leave least of y unexplained.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chainsim.units import Array

BEFORE_S, AFTER_S = 0.03, 0.03
STEP_S = 0.00025
ATTACKS_S = tuple(0.00025 * 2.0**k for k in range(8))
HELD_S = 0.015
TWO_SMOOTHERS = 2.146
"""Time in which two smoothers in a row do 1 - 1/e, in time constants of one: (1 + u) exp(-u) = 1/e."""


@dataclass(frozen=True)
class Openings:
    """What was found.

    Attributes
    ----------
    attack_s : float
        Time to 1 - 1/e of the opening.
    levels_db : ndarray
        Peak level of the dry sound in the 15 ms before each t0.
    """

    attack_s: float
    levels_db: Array


def find_openings(
    dry: Array, wet: Array, sample_rate_hz: float, times_s: Sequence[float], floor: float
) -> Openings | None:
    """Fit equation (1).

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
        Aligned, the wet one divided by the open gate's gain.
    sample_rate_hz : float
    times_s : sequence of float
        About where it opens.
    floor : float
        Gain of the closed gate.

    Returns
    -------
    Openings or None
        None if no opening lies far enough from both ends of the recording.
    """
    step = max(1, round(STEP_S * sample_rate_hz))
    before, after = (round(s * sample_rate_hz) for s in (BEFORE_S, AFTER_S))
    middles = [round(t * sample_rate_hz) for t in times_s]
    middles = [m for m in middles if before <= m < min(dry.size, wet.size) - after]
    if not middles:
        return None
    starts = np.arange(0, before + after // 2, step)
    since = (np.arange(before + after)[np.newaxis, :] - starts[:, np.newaxis]) / sample_rate_hz
    shapes = [(smoothers, attack_s) for smoothers in (1, 2) for attack_s in ATTACKS_S]
    losses = np.empty((len(shapes), len(middles), starts.size))
    for a, (smoothers, attack_s) in enumerate(shapes):
        u = np.maximum(since, 0.0) / attack_s
        gains = 1.0 - (1.0 - floor) * np.exp(-u) * (1.0 if smoothers == 1 else 1.0 + u)
        for k, middle in enumerate(middles):
            x, y = dry[middle - before : middle + after], wet[middle - before : middle + after]
            losses[a, k] = np.square(gains) @ (x * x) - 2.0 * gains @ (x * y)
    best = int(np.argmin(losses.min(axis=2).sum(axis=1)))
    at = [middle - before + int(starts[np.argmin(row)]) for middle, row in zip(middles, losses[best], strict=True)]
    held = round(HELD_S * sample_rate_hz)
    peaks = np.array([float(np.max(np.abs(dry[max(i - held, 0) : i + 1]))) for i in at])
    smoothers, attack_s = shapes[best]
    return Openings(attack_s * (1.0 if smoothers == 1 else TWO_SMOOTHERS), 20.0 * np.log10(np.maximum(peaks, 1e-15)))
