"""Noise that a box adds: what is left in the rests of the wet recording, without that of the dry one."""

from __future__ import annotations

import math

from chainsim.measure.gaps import measure_gaps
from chainsim.measure.pair_figure import Figure
from chainsim.units import Array, db_to_gain

LEAST_SHARE = 0.1
DEVIATION_DB = 0.5


def measure_noise(dry: Array, wet: Array, sample_rate_hz: float, gain_db: float, rings_on: bool) -> Figure:
    """Level (dBFS, rms) of the box's own noise at its output; missing where the recordings have no rest.

    Parameters
    ----------
    dry, wet : ndarray, shape (frames,)
    sample_rate_hz : float
    gain_db : float
        Of the box: what the dry recording's own noise comes out with.
    rings_on : bool
        Whether echoes or a tail fill the rests; then the figure is an upper bound.
    """
    rest_db = measure_gaps(wet, sample_rate_hz).noise_rms_dbfs
    if math.isnan(rest_db):
        return Figure.missing()
    if rest_db == -math.inf:
        return Figure(-math.inf, -math.inf, -math.inf)
    before_db = measure_gaps(dry, sample_rate_hz).noise_rms_dbfs
    through = db_to_gain(before_db + gain_db) ** 2 if math.isfinite(before_db + gain_db) else 0.0
    power = db_to_gain(rest_db) ** 2
    own = power - through
    if own < LEAST_SHARE * power:
        # No louder than what came in: of the box's own part only a bound is known.
        bound_db = rest_db + 10.0 * math.log10(LEAST_SHARE)
        return Figure(bound_db, -math.inf, rest_db)
    value_db = 10.0 * math.log10(own)
    if rings_on:
        return Figure(value_db, -math.inf, value_db)
    return Figure.around(value_db, DEVIATION_DB)
