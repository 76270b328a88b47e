"""Levels on wires: dBu, loading, transformers, thermal noise, and what a microphone gives.

0 dBu = sqrt(0.6) V rms, 1 mW in 600 ohm                                      (1)
a load takes 20 log10(load / (source + load)) dB                              (2)
a transformer of n:1 turns takes 20 log10(n) dB, and impedances go down by n^2  (3)
thermal noise = sqrt(4 k T R B) V rms                                         (4)
"""

from __future__ import annotations

import math
from collections.abc import Iterable

VOLTS_AT_0_DBU = math.sqrt(0.6)
BOLTZMANN_J_PER_K = 1.380649e-23
ROOM_K = 300.0
AUDIO_BAND_HZ = 20_000.0
"""Bandwidth of every noise figure, unweighted, unless it says otherwise."""
PASCAL_DB_SPL = 94.0
"""Sound pressure level of 1 Pa, 20 log10(1 / 20e-6) to the nearest dB, as data sheets of microphones have it."""
SINE_CREST_DB = 20.0 * math.log10(math.sqrt(2.0))


def volts_to_dbu(volts_rms: float) -> float:
    """Level in dBu of a voltage; 0 gives minus infinity."""
    return 20.0 * math.log10(volts_rms / VOLTS_AT_0_DBU) if volts_rms > 0.0 else -math.inf


def loading_db(source_ohms: float, load_ohms: float) -> float:
    """What a load leaves of a source's open voltage, equation (2)."""
    return 20.0 * math.log10(load_ohms / (source_ohms + load_ohms))


def turns_db(turns_ratio: float) -> float:
    """What a transformer of so many turns to one leaves, equation (3)."""
    return -20.0 * math.log10(turns_ratio)


def thermal_noise_dbu(ohms: float, bandwidth_hz: float = AUDIO_BAND_HZ, kelvin: float = ROOM_K) -> float:
    """Noise of a resistance, equation (4)."""
    return volts_to_dbu(math.sqrt(4.0 * BOLTZMANN_J_PER_K * kelvin * ohms * bandwidth_hz))


def microphone_dbu(sensitivity_mv_per_pa: float, level_db_spl: float) -> float:
    """What a microphone gives at a sound pressure level."""
    return volts_to_dbu(sensitivity_mv_per_pa / 1000.0 * 10.0 ** ((level_db_spl - PASCAL_DB_SPL) / 20.0))


def sum_of_powers_db(levels_db: Iterable[float]) -> float:
    """Level of sounds together that have nothing to do with each other."""
    total = sum(10.0 ** (level / 10.0) for level in levels_db)
    return 10.0 * math.log10(total) if total > 0.0 else -math.inf
