"""Starting points of the reverb in plain acoustic words: where first reflections lie, how long paths are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.dsp.fdn import LINES, SPAN
from chainsim.units import Array


@dataclass(frozen=True)
class Space:
    """A kind of space at size 1.

    Attributes
    ----------
    path_ms : (shortest, longest) of the 16 paths that sound runs round in.
    first_ms : (first, last) of the 16 first reflections.
    first_fall_db : how much weaker the last of them is than the first.
    diffusers_ms : lengths of the allpasses that blur the input.
    springs : how many stretched allpasses turn the input into chirps; 0 for none.
    bundles : around how many lengths the paths gather; 0 spreads them evenly.
    """

    path_ms: tuple[float, float]
    first_ms: tuple[float, float]
    first_fall_db: float
    diffusers_ms: tuple[float, ...] = ()
    springs: int = 0
    bundles: int = 0


SPACES = {
    "hall": Space((37.0, 83.0), (7.0, 62.0), 6.0, (2.9, 4.7, 7.9)),
    "room": Space((23.0, 53.0), (1.5, 23.0), 6.0, (1.7, 3.1, 4.3)),
    "plate": Space((33.0, 79.0), (0.3, 17.0), 0.0, (1.3, 2.3, 3.7, 5.3)),
    "spring": Space((33.0, 43.0), (0.0, 0.0), 0.0, (), 32, 3),
}

_PLACES = np.array([0, 11, 6, 13, 9, 2, 15, 4, 14, 5, 8, 3, 7, 12, 1, 10])
"""Which of the 16, by length, each line is: neighbours in length lie far apart in the square."""

_SIGNS = np.array([1, 1, 1, 1, 1, -1, 1, -1, -1, -1, 1, 1, -1, 1, 1, -1], dtype=np.float64)
"""Polarity of each line's first reflection: another bent sequence, orthogonal to those of both outputs."""


def line_lengths(space: Space, size: float, sample_rate_hz: float) -> npt.NDArray[np.int64]:
    """Lengths of the 16 lines in samples: different primes, evenly spread in their logarithm with some unevenness."""
    low, high = space.path_ms
    k = np.arange(LINES)
    spread = (k + 0.35 * np.sin(2.399963 * (k + 1))) / (LINES - 1)
    if space.bundles:
        bundle = k * space.bundles // LINES
        spread = (bundle + 0.1 * (spread - (bundle + 0.5) / space.bundles)) / (space.bundles - 1)
    wanted = size * low * (high / low) ** spread * sample_rate_hz / 1000.0
    primes = _primes(int(2.0 * size * high * sample_rate_hz / 1000.0) + 400)
    found: list[int] = []
    for length in wanted:
        smallest = max(SPAN, found[-1]) if found else SPAN
        free = primes[primes > smallest]
        found.append(int(free[np.argmin(np.abs(free - length))]))
    lengths: npt.NDArray[np.int64] = np.array(found, dtype=np.int64)[_PLACES]
    return lengths


def first_reflections(space: Space, size: float, sample_rate_hz: float) -> tuple[npt.NDArray[np.int64], Array]:
    """Delays in samples and gains, signs included, of the 16 first reflections."""
    first, last = space.first_ms
    k = np.arange(LINES)
    spread = np.clip((k + 0.4 * np.sin(2.399963 * k + 1.0)) / (LINES - 1), 0.0, 1.0)
    taps = np.round(size * (first + (last - first) * spread) * sample_rate_hz / 1000.0).astype(np.int64)
    gains = 10.0 ** (-space.first_fall_db * spread / 20.0)
    order = np.argsort(_PLACES * 7 % LINES)
    return taps[order], gains[order] * _SIGNS


def diffuser_lengths(space: Space, sample_rate_hz: float) -> npt.NDArray[np.int64]:
    """Lengths of the allpasses in samples: primes."""
    primes = _primes(int(max(space.diffusers_ms, default=1.0) * sample_rate_hz / 1000.0) + 100)
    primes = primes[primes > SPAN]
    wanted = [ms * sample_rate_hz / 1000.0 for ms in space.diffusers_ms]
    return np.array([int(primes[np.argmin(np.abs(primes - length))]) for length in wanted], dtype=np.int64)


def _primes(limit: int) -> npt.NDArray[np.int64]:
    sieve = np.ones(limit + 1, dtype=bool)
    sieve[:2] = False
    for n in range(2, math.isqrt(limit) + 1):
        if sieve[n]:
            sieve[n * n :: n] = False
    primes: npt.NDArray[np.int64] = np.nonzero(sieve)[0].astype(np.int64)
    return primes
