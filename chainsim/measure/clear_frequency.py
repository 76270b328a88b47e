"""Where to test with a sine: at a frequency that does not lie in a notch of the response."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.measure.filter_response import FilterResponse

NOTCH_DB = 6.0
"""How far a frequency may lie under the octaves beside it and still stand for it."""
CLEAR_DB = 2.0
WIDTH_OCTAVES = 1.0 / 24.0
STEPS_AN_OCTAVE = 24


def depth_db(response: FilterResponse, freq_hz: float) -> float:
    """How far the response at a frequency lies under its mean of an octave to either side; NaN if not known."""
    octaves = np.abs(np.log2(response.freq_hz / freq_hz))
    here, around = _mean_power(response, octaves <= 0.5 * WIDTH_OCTAVES), _mean_power(response, octaves <= 1.0)
    return 10.0 * math.log10(around / here) if here > 0.0 and around > 0.0 else math.nan


def clear_frequency(response: FilterResponse, near_hz: float) -> float:
    """`near_hz`, or where that lies in a notch the frequency next to it that does not, at most an octave away."""
    if not depth_db(response, near_hz) > NOTCH_DB:
        return near_hz
    steps = sorted(range(-STEPS_AN_OCTAVE, STEPS_AN_OCTAVE + 1), key=abs)
    others = [near_hz * 2.0 ** (step / STEPS_AN_OCTAVE) for step in steps]
    return next((freq_hz for freq_hz in others if depth_db(response, freq_hz) < CLEAR_DB), near_hz)


def _mean_power(response: FilterResponse, chosen: npt.NDArray[np.bool_]) -> float:
    """With as much weight for each octave; NaN without a bin that is known."""
    chosen = chosen & ~np.isnan(response.fine_db)
    if not chosen.any():
        return math.nan
    return float(np.average(10.0 ** (response.fine_db[chosen] / 10.0), weights=1.0 / response.freq_hz[chosen]))
