"""The equalizer that comes nearest to a measured response: a gain, two shelves and three bells.

First by the levels of third octaves, then by the complex gain T of every bin, weighted by the power S of the dry sound:
what is left of sum S |T - H|^2 is the energy of the wet sound that the equalizer's does not explain.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from chainsim.dsp import biquad
from chainsim.measure.pair.response import Response
from chainsim.units import Array

BELLS = 3
BANDS = BELLS + 2
MOST_DB = 18.0
LOG_Q = (math.log(0.3), math.log(6.0))
PULL = 0.1
"""How far 1 dB of a band counts, against deviations of the response: it settles what the recordings leave open."""
LEAST_POWER_DB = -50.0
DESIGNS = {"low_shelf": biquad.low_shelf, "bell": biquad.bell, "high_shelf": biquad.high_shelf}


def nearest_equalizer(response: Response, sign: float, sample_rate_hz: float) -> dict[str, Any]:
    """Settings of the block "equalizer".

    Parameters
    ----------
    response : Response
    sign : float
        -1 for a box that inverts, which no equalizer does.
    sample_rate_hz : float
    """
    from scipy.optimize import least_squares

    seen = [band for band in response.bands if band.gain_db.found]
    if len(seen) < BELLS:
        gain_db = response.gain_db.value
        return {"gain_db": gain_db if math.isfinite(gain_db) else 0.0, "bands": []}
    freq_hz = np.array([band.centre_hz for band in seen])
    wanted_db = np.array([band.gain_db.value for band in seen])
    deviation_db = np.array([max(band.gain_db.high - band.gain_db.value, 0.2) for band in seen])
    start, lowest, highest = _bounds(freq_hz, float(np.median(wanted_db)))

    def missed_db(values: Array) -> Array:
        level_db = 20.0 * np.log10(np.maximum(np.abs(_transfer(values, freq_hz, sample_rate_hz)), 1e-9))
        return np.concatenate([(level_db - wanted_db) / deviation_db, PULL * values[1 + BANDS : 1 + 2 * BANDS]])

    rough = least_squares(missed_db, start, bounds=(lowest, highest)).x
    transfer = response.transfer
    power = transfer.power * (transfer.freq_hz > 0.0)
    heard = power > 10.0 ** (0.1 * LEAST_POWER_DB) * float(np.max(power))
    bins_hz, wanted, weight = transfer.freq_hz[heard], sign * transfer.gain[heard], np.sqrt(power[heard])
    weight /= float(np.sqrt(np.sum(weight**2 * np.abs(wanted) ** 2)))

    def missed(values: Array) -> Array:
        off = weight * (_transfer(values, bins_hz, sample_rate_hz) - wanted)
        return np.concatenate([off.real, off.imag])

    return _settings(least_squares(missed, rough, bounds=(lowest, highest), x_scale="jac").x)


def _bounds(freq_hz: Array, gain_db: float) -> tuple[Array, Array, Array]:
    """Start, least and largest values: gain, BANDS logarithms of frequencies, BANDS gains, BELLS logarithms of q."""
    low, high = math.log(freq_hz[0]), math.log(freq_hz[-1])
    middles = np.linspace(low, high, 2 * BELLS + 1)[1::2]
    places = np.array([low + 0.1 * (high - low), *middles, high - 0.1 * (high - low)])
    reach = 0.5 * (high - low) / BELLS
    start = np.concatenate([[gain_db], places, np.zeros(BANDS + BELLS)])
    lowest = np.concatenate([[-96.0], places - reach, np.full(BANDS, -MOST_DB), np.full(BELLS, LOG_Q[0])])
    highest = np.concatenate([[24.0], places + reach, np.full(BANDS, MOST_DB), np.full(BELLS, LOG_Q[1])])
    return np.clip(start, lowest, highest), lowest, highest


def _settings(values: Array) -> dict[str, Any]:
    shapes = ["low_shelf", *["bell"] * BELLS, "high_shelf"]
    freqs_hz, gains_db = np.exp(values[1 : 1 + BANDS]), values[1 + BANDS : 1 + 2 * BANDS]
    qs = [math.sqrt(0.5), *np.exp(values[-BELLS:]).tolist(), math.sqrt(0.5)]
    bands = [
        {"shape": shape, "freq_hz": float(freq), "gain_db": float(gain), "q": float(q)}
        for shape, freq, gain, q in zip(shapes, freqs_hz, gains_db, qs, strict=True)
    ]
    return {"gain_db": float(values[0]), "bands": bands}


def _transfer(values: Array, freq_hz: Array, sample_rate_hz: float) -> npt.NDArray[np.complex128]:
    """What the block does to each frequency."""
    chosen = _settings(values)
    back = np.exp(-2j * np.pi * freq_hz / sample_rate_hz)  # one sample of delay
    gain = np.full(freq_hz.size, 10.0 ** (chosen["gain_db"] / 20.0), dtype=np.complex128)
    for band in chosen["bands"]:
        b, a = DESIGNS[band["shape"]](band["freq_hz"], band["gain_db"], band["q"], sample_rate_hz)
        gain *= (b[0] + back * (b[1] + back * b[2])) / (a[0] + back * (a[1] + back * a[2]))
    return gain
