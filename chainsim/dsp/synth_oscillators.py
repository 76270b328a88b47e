"""The oscillators of one voice: one or several in unison, each at its own detuning and place, added to a mix."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from chainsim.dsp.hashed_noise import white_noise
from chainsim.dsp.oscillator import oscillate
from chainsim.dsp.oscillator_tables import tables, top_hz
from chainsim.dsp.pitch_following import interval_ratio
from chainsim.dsp.synth_voice import add_scaled, shifted_width
from chainsim.units import Array, Audio

Waveform = Literal["saw", "pulse", "triangle", "sine", "noise"]

PER_RMS = {
    "saw": math.sqrt(3.0),
    "pulse": 1.0,
    "triangle": math.sqrt(3.0),
    "sine": math.sqrt(2.0),
    "noise": math.sqrt(3.0),
}
"""Gain that gives each waveform an rms of 1; for pulses, where the width is a half."""

_GOLDEN = 0.6180339887498949
"""Turns from one start phase to the next: however many, they never crowd."""


class VoiceOscillators:
    """Oscillators of one voice.

    Parameters
    ----------
    waveform : str
    width : float
        Share of the period that a pulse is up.
    intervals : ndarray, shape (128,)
        Distance from each played note in semitones.
    places : sequence of float
        One an oscillator: its share of the detuning, -1 to 1.
    gains : ndarray, shape (oscillators, channels)
    seed : int
        Of noise.
    sample_rate_hz : float
    """

    def __init__(
        self,
        waveform: Waveform,
        width: float,
        intervals: Array,
        places: list[float],
        gains: Array,
        seed: int,
        sample_rate_hz: float,
    ) -> None:
        self._noise, self._pulse = waveform == "noise", int(waveform == "pulse")
        self._width, self._intervals, self._places, self._gains = width, intervals, places, gains
        self._seed, self._rate_hz = seed, float(sample_rate_hz)
        if not self._noise:
            made = tables("saw" if waveform == "pulse" or waveform == "noise" else waveform)
            self._tables = (made.points, made.first, made.size, made.fade_from, made.fade_to)
        self._phase = np.zeros((len(places), 1))
        self._distance = np.zeros((len(places), 2))
        self.reset()

    def reset(self) -> None:
        """Return to the start phases."""
        self._phase[:, 0] = (np.arange(len(self._places)) * _GOLDEN) % 1.0
        self._distance.fill(math.nan)

    def add_to(
        self, n0: int, freq_hz: Array, note: Array, glide_ms: Array, detune_cents: Array, widening: Array, y: Audio
    ) -> None:
        """Add this voice to y (channels, frames).

        Parameters
        ----------
        n0 : int
            Absolute index of frame 0.
        freq_hz, note : ndarray, shape (frames,)
            What is played, and the nearest note to it.
        glide_ms, detune_cents, widening : ndarray, shape (frames,)
            Of a change of interval; of the outermost oscillators; what is added to the width.
        """
        row, ratio, width = np.empty((3, y.shape[1]))
        if self._noise:
            for k in range(len(self._places)):
                white_noise(self._seed + k, n0, row)
                add_scaled(row, self._gains[k], y)
            return
        shifted_width(self._width, widening, width)
        top = top_hz(self._rate_hz)
        for k, place in enumerate(self._places):
            interval_ratio(
                note, self._intervals, glide_ms, detune_cents, place, self._rate_hz, self._distance[k], ratio
            )
            oscillate(freq_hz, ratio, width, self._pulse, *self._tables, top, self._rate_hz, self._phase[k], row)
            add_scaled(row, self._gains[k], y)


def unison_places(count: int) -> list[float]:
    """Shares of the detuning of `count` oscillators, evenly from -1 to 1; 0 for one."""
    return [2.0 * k / (count - 1) - 1.0 for k in range(count)] if count > 1 else [0.0]


def unison_gains(waveform: Waveform, gain: float, pan: float, spread: float, count: int, channels: int) -> Array:
    """Gains (count, channels): unit rms together, each at its place by equal power, 0 dB in the middle."""
    each = gain * PER_RMS[waveform] / math.sqrt(count)
    if channels == 1:
        return np.full((count, 1), each)
    # Neighbours in pitch stand on opposite sides, so that neither side is sharp.
    sides = [-place if k % 2 else place for k, place in enumerate(unison_places(count))]
    theta = np.array([(min(max(pan + spread * side, -1.0), 1.0) + 1.0) * math.pi / 4.0 for side in sides])
    return np.ascontiguousarray(each * math.sqrt(2.0) * np.stack([np.cos(theta), np.sin(theta)], axis=1))
