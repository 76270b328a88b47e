"""A dry and a wet recording, read, checked and folded to one channel each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chainsim.audio.reading import read_take
from chainsim.errors import AudioError
from chainsim.units import Array

SHORTEST_S = 1.0
MOST_S = 60.0
"""Of longer recordings only the beginning is measured, so that memory is bounded."""
CANCELS_DB = 6.0


@dataclass(frozen=True)
class Pair:
    """Two recordings of one start and rate, each folded to one channel, shape (frames,)."""

    dry: Array
    wet: Array
    sample_rate_hz: float
    names: tuple[str, str] = ("dry", "wet")
    notes: tuple[str, ...] = ()


def read_pair(dry: str | Path, wet: str | Path) -> Pair:
    """Read two files.

    Raises
    ------
    AudioError
        If one can't be read, is silent or too short, or their rates differ.
    """
    notes: list[str] = []
    sounds: list[Array] = []
    rates: list[float] = []
    for path in (dry, wet):
        audio, rate_hz, warnings = read_take(path)
        notes += warnings
        mono, note = _folded(audio, str(path))
        notes += [note] if note else []
        if mono.size > MOST_S * rate_hz:
            notes.append(f"{path}: {mono.size / rate_hz:.0f} s, of which the first {MOST_S:.0f} s are measured")
        if mono.size < SHORTEST_S * rate_hz:
            raise AudioError(f"{path}: {mono.size / rate_hz:.2f} s, allowed {SHORTEST_S:g} s or more")
        mono = mono[: round(MOST_S * rate_hz)].copy()
        if not np.any(mono):
            raise AudioError(f"{path}: is silent")
        sounds.append(mono)
        rates.append(rate_hz)
    if rates[0] != rates[1]:
        raise AudioError(
            f"{wet}: sample rate {rates[1]:g} Hz, but {dry} has {rates[0]:g} Hz; record both at one rate, or resample "
            "one of them first"
        )
    return Pair(sounds[0], sounds[1], rates[0], (str(dry), str(wet)), tuple(dict.fromkeys(notes)))


def _folded(audio: Array, name: str) -> tuple[Array, str]:
    """One channel of a recording: the mean, or the louder one where the two cancel."""
    powers = np.mean(np.square(audio), axis=0)
    mean: Array = np.mean(audio, axis=1)
    if audio.shape[1] == 1:
        return np.ascontiguousarray(mean), ""
    if np.mean(np.square(mean)) < 10.0 ** (-0.1 * CANCELS_DB) * float(np.mean(powers)):
        side = int(np.argmax(powers))
        return np.ascontiguousarray(audio[:, side]), f"{name}: left and right cancel, so only {('left', 'right')[side]}"
    return mean, f"{name}: left and right folded to their mean"
