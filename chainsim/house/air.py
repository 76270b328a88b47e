"""Sound in still air: how fast it is, and how much of it air takes away.

The attenuation coefficient of pure tones is, with the relaxation frequencies frO of oxygen and frN of nitrogen,

    alpha = 8.686 f^2 (1.84e-11 (pa/pr)^-1 (T/T0)^(1/2) + (T/T0)^(-5/2)
            (0.01275 exp(-2239.1/T) / (frO + f^2/frO) + 0.1068 exp(-3352/T) / (frN + f^2/frN)))  dB/m        (1)

The filter that stands for it is exact at 0 Hz, 4 and 12 kHz; above that it takes too little: at 22 m 0.3 to 0.8 dB at
14 to 16 kHz, at 100 m 3 dB at 16 kHz.

Source: ISO 9613-1:1993, equations 3 to 5 (relaxation, absorption), B.2 and B.3 (water vapour); from memory, checked
against the table of ISO 9613-2:1996 in tests/house.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.biquad import sections
from chainsim.units import Array

SPEED_OF_SOUND_M_S = 343.2
"""In dry air of 20 degrees: a metre takes 2.914 ms."""

TEMPERATURE_C = 20.0
HUMIDITY_PERCENT = 50.0
PRESSURE_KPA = 101.325

FITTED_HZ = (4000.0, 12000.0)
LONGEST_FIT_M = 8.0
"""For how much air one section of the filter stands: longer ones could not fall fast enough between the two."""


def travel_s(distance_m: float) -> float:
    """How long sound takes."""
    return distance_m / SPEED_OF_SOUND_M_S


def attenuation_db_per_m(
    freq_hz: float,
    temperature_c: float = TEMPERATURE_C,
    humidity_percent: float = HUMIDITY_PERCENT,
    pressure_kpa: float = PRESSURE_KPA,
) -> float:
    """Equation (1).

    Parameters
    ----------
    freq_hz : float > 0
    temperature_c : float, -20 to 50
    humidity_percent : float, 10 to 100
        Relative humidity.
    pressure_kpa : float, under 200

    Returns
    -------
    float
        dB per metre, within 10 % by the standard's own account.
    """
    kelvin = temperature_c + 273.15
    warmth, pressure = kelvin / 293.15, pressure_kpa / 101.325
    saturation = 10.0 ** (4.6151 - 6.8346 * (273.16 / kelvin) ** 1.261)
    vapour_percent = humidity_percent * saturation / pressure
    oxygen_hz = pressure * (24.0 + 4.04e4 * vapour_percent * (0.02 + vapour_percent) / (0.391 + vapour_percent))
    cooling = math.exp(-4.170 * (warmth ** (-1.0 / 3.0) - 1.0))
    nitrogen_hz = pressure * warmth**-0.5 * (9.0 + 280.0 * vapour_percent * cooling)
    square = freq_hz * freq_hz
    relaxation = 0.01275 * math.exp(-2239.1 / kelvin) / (oxygen_hz + square / oxygen_hz)
    relaxation += 0.1068 * math.exp(-3352.0 / kelvin) / (nitrogen_hz + square / nitrogen_hz)
    return float(8.686 * square * (1.84e-11 / pressure * warmth**0.5 + warmth**-2.5 * relaxation))


def air_filter(distance_m: float, sample_rate_hz: float) -> Array:
    """Filter that takes away what air does over a distance: exact at 0 Hz, 4 and 12 kHz.

    It is a cascade of equal first-order sections, each with

        |H|^2 = (1 + p c) / (1 + q c),   c = 1 - cos w                                                        (2)

    where p and q follow from what is wanted at the two frequencies, and b0, b1 and a1 by spectral factorisation.

    Parameters
    ----------
    distance_m : float > 0
    sample_rate_hz : float
        Where it is too low for 12 kHz, the fit is at 0.17 and 0.4 of it.

    Returns
    -------
    ndarray, shape (even number of sections, 5)
        For `biquad_df2t`.
    """
    count = math.ceil(distance_m / LONGEST_FIT_M)
    shares = (0.17, 0.4)
    freqs_hz = [min(f, share * sample_rate_hz) for f, share in zip(FITTED_HZ, shares, strict=True)]
    c = np.array([1.0 - math.cos(2.0 * math.pi * f / sample_rate_hz) for f in freqs_hz])
    powers = np.array([10.0 ** (-attenuation_db_per_m(f) * distance_m / count / 10.0) for f in freqs_hz])
    p, q = np.linalg.solve(np.column_stack([c, -powers * c]), powers - 1.0)
    b0, a0 = _minimum_phase(float(p)), _minimum_phase(float(q))
    b, a = np.array([b0, 1.0 - b0, 0.0]) / a0, np.array([1.0, (1.0 - a0) / a0, 0.0])
    return sections([(b, a)] * count)


def _minimum_phase(slope: float) -> float:
    """First coefficient h0 of h0 + (1 - h0) / z, whose squared magnitude is 1 + slope (1 - cos w)."""
    return 0.5 * (1.0 + math.sqrt(1.0 + 2.0 * slope))
