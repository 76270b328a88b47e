"""Shifts the pitch of several notes at once: a phase vocoder that moves the regions around spectral peaks.

A frame (`peak_frames`) is cut into regions around its peaks (`spectral_peaks`). A peak at f bins moves by (R - 1) f
bins (`region_moving`) with its whole region, whose phases stay locked to its own [1]_; it is turned so that it goes on
from the frame before (`peak_turning`), and given a gain if formants are to stay (`peak_formants`). Before an attack no
more is let through than the sound itself had (`attack_keeping`).

References
----------
.. [1] J. Laroche, M. Dolson, "New phase-vocoder techniques for pitch-shifting, harmonizing and other exotic effects",
   IEEE WASPAA 1999, 91-94.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.attack_keeping import hold_back, leaps
from chainsim.dsp.peak_formants import envelope_through, formant_gains, settle_timbre
from chainsim.dsp.peak_frames import Frames, cut_into_frames
from chainsim.dsp.peak_state import KEPT, Room, State, empty_state, room_for_frame
from chainsim.dsp.peak_turning import turn_peaks
from chainsim.dsp.real_fft import inverse_real_fft, real_fft
from chainsim.dsp.region_moving import MARGIN, cosines_and_sines, fold_mirror, halve_ends, move_region
from chainsim.dsp.spectral_peaks import END, NOW_FREQUENCY, START, Peaks, find_peaks, room_for_peaks
from chainsim.kernel import kernel
from chainsim.units import Array

SILENT, ABSURD = 1e-30, 1e100
"""What is less than the one or more than the other counts as nothing: the squares of the rest are all numbers."""

NEVER = -(1 << 60)


class PeakShifter:
    """Voices at other pitches than the sound's own, whatever sounds: one note, several, or none.

    Parameters
    ----------
    lowest_hz : float > 0
        The lowest note to keep apart from others. It decides the frames (`cut_into_frames`).
    sample_rate_hz : float > 0
    voices : int >= 1

    Attributes
    ----------
    latency_samples : int
        Two periods of the lowest note and 4 ms; of notes under 80 Hz 29 ms.
    tail_s : float
        How long a voice may go on after the sound has ended, since moving spreads the end over a frame.

    Raises
    ------
    SettingError
        If a frame would be longer than the transforms are.
    """

    def __init__(self, lowest_hz: float, sample_rate_hz: float, voices: int) -> None:
        self._frames = frames = cut_into_frames(lowest_hz, sample_rate_hz)
        n = frames.n
        self.latency_samples = frames.hop + frames.ahead - 1
        self.tail_s = (n - frames.ahead + frames.hop) / sample_rate_hz
        self._found, self._before = room_for_peaks(n, voices), room_for_peaks(n, voices)
        self._room = room_for_frame(frames, sample_rate_hz)
        self._period_blocks = math.ceil(sample_rate_hz / lowest_hz / frames.block) + 1
        self._state = empty_state(frames, self._period_blocks + 1, voices)
        self.reset()

    def reset(self) -> None:
        """Forget what was heard."""
        for memory in (self._state.kept, self._state.out, self._state.energies, self._state.sums, self._state.timbre):
            memory.fill(0.0)
        self._before.total[0] = 0
        self._state.attack[0] = NEVER
        self._begun = False

    def process(self, n0: int, x: Array, ratios: Array, formant: Array, y: Array) -> None:
        """Fill y (voices, frames).

        Parameters
        ----------
        n0 : int
            Absolute index of the first sample.
        x : ndarray, shape (frames,)
        ratios : ndarray, shape (voices, frames)
            R, 1/4 ... 4, which counts at the time of each frame.
        formant : ndarray, shape (frames,)
            From 0, where the timbre moves with the pitch, to 1, where it stays.
        """
        if not self._begun and x.size > 0:
            self._state.wanted[:, :-1] = ratios[:, 0]
            self._state.wanted[:, -1] = formant[0]
            self._begun = True
        shift_peaks(
            n0,
            x,
            ratios,
            formant,
            self._period_blocks,
            self._frames,
            self._room,
            self._state,
            self._found,
            self._before,
            y,
        )


@kernel
def shift_peaks(
    n0: int,
    x: Array,
    ratios: Array,
    formant: Array,
    period_blocks: int,
    frames: Frames,
    room: Room,
    state: State,
    found: Peaks,
    before: Peaks,
    y: Array,
) -> None:
    """One span of `PeakShifter.process`, block by block."""
    hop, block, ahead = frames.hop, frames.block, frames.ahead
    out, mask, voices = state.out, frames.n - 1, y.shape[0]
    i = np.int64(0)
    while i < x.shape[0]:
        now = n0 + i
        end = min(x.shape[0], i + block - now % block)
        if now % hop == 0:
            for v in range(voices):
                state.wanted[(now // hop) % KEPT, v] = ratios[v, i]
            state.wanted[(now // hop) % KEPT, voices] = formant[i]
        take_in(now, x[i:end], state)
        behind = n0 + end
        if behind % block == 0:
            leapt = leaps(state.sums[1], behind // block - 1, period_blocks, state.energies)
            if leapt and behind - 1 - state.attack[0] > hop:
                state.attack[0] = behind - block
            state.sums[1] = 0.0
            if (behind - ahead) % hop == 0:
                shift_frame(behind - ahead, frames, room, state, found, before)
        for v in range(voices):
            for k in range(i, end):
                ready = (n0 + k - hop - ahead + 1) & mask
                y[v, k] = out[v, ready]
                out[v, ready] = 0.0
        i = end


@kernel
def take_in(now: int, x: Array, state: State) -> None:
    """Keep the samples x, which begin at `now`, and the energy of their differences, where attacks show best."""
    mask = state.kept.shape[0] - 1
    last, energy = state.sums[0], state.sums[1]
    for i in range(x.shape[0]):
        value = x[i] if SILENT < abs(x[i]) < ABSURD else 0.0
        state.kept[(now + i) & mask] = value
        energy += (value - last) ** 2
        last = value
    state.sums[0], state.sums[1] = last, energy


@kernel
def shift_frame(t: int, frames: Frames, room: Room, state: State, found: Peaks, before: Peaks) -> None:
    """Add the frame of sample t to `state.out`."""
    n, hop, windows = frames.n, frames.hop, frames.windows
    mask, half = n - 1, n // 2
    own, frame, wanted = room.own, room.frame, state.wanted[(t // hop) % KEPT]
    begin = t & mask
    for j in range(n - begin):
        own[j] = windows[0, j] * state.kept[begin + j]
    for j in range(n - begin, n):
        own[j] = windows[0, j] * state.kept[begin + j - n]
    re, im, yr, yi = room.spectrum[0], room.spectrum[1], room.moved[0], room.moved[1]
    real_fft(own, n, room.twiddles, room.work, re, im)
    find_peaks(re, im, 0.5 - frames.ahead / n, room.power, found)
    since = t - state.attack[0]
    turn_peaks(since, frames, wanted, found, before)
    halve_ends(re, im)
    count, measured, gains = found.total[0], found.measured, room.gains
    formant = wanted[wanted.shape[0] - 1]
    gains[:count] = 1.0
    if formant > 0.0 and count > 0:
        standing = envelope_through(measured, count, room.line)
        # At an attack there is another note, and after silence there was none.
        fall = room.rise if since < n or before.total[0] == 0 else room.fall
        settle_timbre(measured, count, room.line, standing, room.rise, fall, state.timbre)
    for v in range(found.theta.shape[0]):
        yr[:] = 0.0
        yi[:] = 0.0
        if formant > 0.0:
            formant_gains(measured, count, room.line, state.timbre, wanted[v], formant, half, gains)
        cosines_and_sines(found.theta[v], count, room.rotor)
        lowest = np.int64(0)
        for j in range(count):
            shift = (wanted[v] - 1.0) * measured[NOW_FREQUENCY, j]
            start, end = found.regions[START, j], found.regions[END, j]
            c, s = gains[j] * room.rotor[0, j], gains[j] * room.rotor[1, j]
            lowest = min(lowest, move_region(re, im, start, end, shift, c, s, room.taps, yr, yi))
        fold_mirror(lowest, yr, yi)
        inverse_real_fft(yr[MARGIN + half :], yi[MARGIN + half :], n, room.twiddles, room.work, frame)
        if since < hop:
            hold_back(-since, hop, frames.block, own, frame)
        for j in range(hop):
            state.out[v, (t + j) & mask] += windows[1, j] * frame[j]
            state.out[v, (t - hop + j) & mask] += windows[1, n - hop + j] * frame[n - hop + j]
    before.total[0] = count
    before.owner[:] = found.owner
    before.new[:count] = found.new[:count]
    before.measured[:, :count] = measured[:, :count]
    before.theta[:, :count] = found.theta[:, :count]
