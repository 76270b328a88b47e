"""What the shifter of several notes works in: room for one frame, and what lasts from span to span."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from chainsim.dsp.peak_formants import FALL_S, RISE_S, envelope_array, timbre_array
from chainsim.dsp.peak_frames import Frames
from chainsim.dsp.real_fft import fft_work, twiddles
from chainsim.dsp.region_moving import moved_spectrum, moving_taps
from chainsim.dsp.spectral_peaks import most_peaks, padded_power
from chainsim.units import Array, Counts

APART = 16
"""Rows of a power of two would lie on the same lines of the processor's cache."""

KEPT = 4
"""Hops whose ratios wait for their frame."""


class Room(NamedTuple):
    """What a frame is made in: nothing of it lasts.

    Attributes
    ----------
    twiddles, work : ndarray
        Of `chainsim.dsp.real_fft`.
    taps : ndarray
        Of `moving_taps`.
    own, frame : ndarray, shape (n,)
        What came, under its window, and what it becomes.
    spectrum : ndarray, shape (2, bins)
    moved : ndarray
        Of `moved_spectrum`.
    power : ndarray
        Of `padded_power`.
    line : ndarray
        Of `envelope_array`.
    gains : ndarray, shape (most peaks,)
    rotor : ndarray, shape (2, most peaks)
        Of `cosines_and_sines`.
    rise, fall : float
        What is left, after a hop, of the timbre's way up and down.
    """

    twiddles: Array
    work: Array
    taps: Array
    own: Array
    frame: Array
    spectrum: Array
    moved: Array
    power: Array
    line: Array
    gains: Array
    rotor: Array
    rise: float
    fall: float


class State(NamedTuple):
    """What lasts from span to span.

    Attributes
    ----------
    kept : ndarray, shape (n,)
        The newest samples.
    out : ndarray, shape (voices, n and more)
        What is being added up.
    wanted : ndarray, shape (KEPT, voices + 1)
        Ratios and formant at the times of frames to come.
    energies : ndarray, shape (blocks,)
        Of the newest blocks.
    sums : ndarray, shape (2,)
        The newest sample, and the energy of this block.
    timbre : ndarray
        Of `timbre_array`.
    attack : ndarray of int64, shape (1,)
        When the newest attack began.
    """

    kept: Array
    out: Array
    wanted: Array
    energies: Array
    sums: Array
    timbre: Array
    attack: Counts


def room_for_frame(frames: Frames, sample_rate_hz: float) -> Room:
    """Room for one frame at a time."""
    n, most = frames.n, most_peaks(frames.n)
    return Room(
        twiddles(n),
        fft_work(n),
        moving_taps(frames.windows[0] * frames.windows[1]),
        np.zeros(n),
        np.zeros(n),
        np.zeros((2, n // 2 + 1)),
        moved_spectrum(n),
        padded_power(n),
        envelope_array(most),
        np.zeros(most),
        np.zeros((2, most)),
        math.exp(-frames.hop / (RISE_S * sample_rate_hz)),
        math.exp(-frames.hop / (FALL_S * sample_rate_hz)),
    )


def empty_state(frames: Frames, blocks: int, voices: int) -> State:
    """A state that has heard nothing, and keeps the energies of so many blocks."""
    return State(
        np.zeros(frames.n),
        np.zeros((voices, frames.n + APART)),
        np.zeros((KEPT, voices + 1)),
        np.zeros(blocks),
        np.zeros(2),
        timbre_array(frames.n),
        np.zeros(1, np.int64),
    )
