"""The bore as tables: level in dB over frequency for each fingering, and its tilt with blowing pressure.

E(k, f, p) = bore(f) + tilt(f, p) - s(p) log2 k, where s and tilt move in a line from softest to loudest. (1)
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from chainsim.horn.model import HornModel
from chainsim.units import Array

STEP_HZ = 20.0
_TOP_HZ = 30_000.0
_RIPPLES = 7


@dataclass(frozen=True)
class BoreTables:
    """Tables on the grid 0, STEP_HZ, 2 STEP_HZ, ... Hz.

    Attributes
    ----------
    fixed_db : ndarray, shape (2 fingerings, points)
        Two rows a fingering: odd harmonics, even harmonics.
    tilt_db : ndarray, shape (2, points)
        At the softest and at the loudest blowing.
    source_db : ndarray, shape (2,)
        Fall of the source in dB per octave of harmonic number, softest and loudest.
    """

    fixed_db: Array
    tilt_db: Array
    source_db: Array


def bore_tables(horn: HornModel, fingerings: tuple[int, ...]) -> BoreTables:
    """Tables of a horn for the fingerings of a phrase; a horn is the same horn in every take."""
    f = np.arange(0.0, _TOP_HZ, STEP_HZ)
    smooth = _radiation(horn, f) + _formants(horn, f)
    rows = []
    for fingering in fingerings:
        odd = smooth + _ripple(horn, fingering, f)
        rows += [odd, odd + _even(horn, fingering, f)]
    above_octaves = 0.5 * np.log2(1.0 + (f / horn.cutoff_hz) ** 2)
    above_khz = (np.hypot(f, horn.cutoff_hz) - horn.cutoff_hz) / 1000.0
    tilt = [
        -rolloff * above_octaves - damping * above_khz
        for rolloff, damping in zip(horn.rolloff_db_per_octave, horn.damping_db_per_khz, strict=True)
    ]
    return BoreTables(np.array(rows), np.array(tilt), np.array(horn.source_db_per_octave))


def _radiation(horn: HornModel, f: Array) -> Array:
    ratio = np.maximum(f, STEP_HZ) / horn.radiation_hz
    level: Array = -10.0 * np.log10(1.0 + ratio**-2.0)
    return level


def _formants(horn: HornModel, f: Array) -> Array:
    octave = np.log2(np.maximum(f, STEP_HZ))
    total = np.zeros(f.size)
    for formant in horn.formants:
        away = 2.0 * (octave - np.log2(formant.centre_hz)) / formant.width_octaves
        total += formant.level_db / (1.0 + away**2)
    return total


def _ripple(horn: HornModel, fingering: int, f: Array) -> Array:
    """Departures from the smooth curve: partly the horn's, partly the fingering's, slow and fast over frequency."""
    total = np.zeros(f.size)
    for seed, share in ((f"{horn.name}", 0.6), (f"{horn.name} {fingering}", 0.8)):
        random = np.random.default_rng(zlib.crc32(seed.encode()))
        period_hz = horn.cutoff_hz * 2.0 ** random.uniform(-1.0, 2.0, _RIPPLES)
        phase = random.uniform(0.0, 2.0 * np.pi, _RIPPLES)
        waves = np.cos(2.0 * np.pi * f[:, None] / period_hz + phase)
        total += share * horn.ripple_db * np.sqrt(2.0 / _RIPPLES) * np.sum(waves, axis=1)
    return total


def _even(horn: HornModel, fingering: int, f: Array) -> Array:
    """Even harmonics of a stopped cylinder: weak below the cut-off, less so in the overblown registers."""
    register = np.interp(fingering, [horn.low_midi, 69.0, 71.0, 83.0, 90.0], [1.0, 0.9, 0.55, 0.4, 0.12])
    level: Array = horn.even_db * register / (1.0 + (f / (0.9 * horn.cutoff_hz)) ** 4)
    return level
