"""How a sound is cut into the frames of a phase vocoder, so that it comes out early: what is heard lies near the end.

A frame of n samples has a Hann window before the transform. What is heard of it, after a second window behind the
inverse transform, is a Hann window of 2 hop samples about the frame's time t,

    heard[i] = hann[i] after[i] = (1 + cos(pi (i - t) / hop)) / 2,   |i - t| < hop                              (1)

so frames a hop apart add up to 1. Where t lies in the frame is free: `ahead` samples before its end, and the latency is
hop + ahead, however long the frame [1]_. The nearer to the end, the more has the second window to raise.

References
----------
.. [1] D. Mauler, R. Martin, "A low delay, variable resolution, perfect reconstruction spectral analysis-synthesis
   system for speech enhancement", EUSIPCO 2007, 222-226.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from chainsim.dsp.real_fft import GREATEST
from chainsim.errors import SettingError
from chainsim.units import Array

PERIODS = 4.0
"""Of the lowest note in a frame, at least, if `LONGEST_S` allows: the main lobes of a Hann window are four bins wide,
so harmonics stand apart."""

LONGEST_S = 0.05
"""A longer frame would smear attacks and follow slides too late. The longest is the last power of two within it, 2048
samples at 48 kHz: notes under 93.75 Hz share it and have fewer than four periods there, E2 3.5, Db2 3.0."""

LEAST = 64
"""Samples in the shortest frame."""

EXTRA_S = 0.004
"""Latency over two periods of the lowest note. With less, frames are more, and more is raised at their ends."""

MOST_OF_FRAME = 0.75
"""Latency, relative to a frame: more would be heard later for nothing. It cuts the latency of high notes, at 48 kHz of
375 to 500 Hz and from 750 Hz on."""

BLOCKS, BLOCKS_AHEAD = 8, 11
"""In a hop, and from a frame's time to its end: attacks are looked for from block to block."""


class Frames(NamedTuple):
    """Frames of `n` samples, a power of two, each reaching `ahead` samples beyond its time, `hop` samples apart.

    Attributes
    ----------
    n, hop, ahead : int
    block : int
        An eighth of a hop; `ahead` is some of them, too.
    windows : ndarray, shape (2, n)
        Before the transform, and after the inverse one, which leaves a factor of 2 / n to it. Both begin at the
        frame's time; what lies before that stands at the end.
    """

    n: int
    hop: int
    ahead: int
    block: int
    windows: Array


def cut_into_frames(lowest_hz: float, sample_rate_hz: float) -> Frames:
    """Frames for notes of `lowest_hz` and more.

    Raises
    ------
    SettingError
        If they would be longer than the transforms are.
    """
    n = LEAST
    period_s = min(1.0 / lowest_hz, LONGEST_S / PERIODS)
    while n < PERIODS * period_s * sample_rate_hz and 2 * n <= LONGEST_S * sample_rate_hz:
        n *= 2
    if n > GREATEST:
        raise SettingError(f"sample_rate_hz = {sample_rate_hz:g} Hz, allowed up to {2 * GREATEST / LONGEST_S:g} Hz")
    latency = min((2.0 * period_s + EXTRA_S) * sample_rate_hz, MOST_OF_FRAME * n)
    block = max(int(latency / (BLOCKS + BLOCKS_AHEAD)), 1)
    hop, ahead = BLOCKS * block, BLOCKS_AHEAD * block
    return Frames(n, hop, ahead, block, frame_windows(n, hop, ahead))


def frame_windows(n: int, hop: int, ahead: int) -> Array:
    """The windows of `Frames`."""
    place = (np.arange(n) + n - ahead) % n
    hann = 0.5 - 0.5 * np.cos(2.0 * np.pi * place / n)
    away = place - (n - ahead)
    heard = np.abs(away) < hop
    after = np.zeros(n)
    after[heard] = (0.5 + 0.5 * np.cos(np.pi * away[heard] / hop)) / hann[heard] * 2.0 / n
    return np.stack([hann, after])
