"""Shifts the pitch of several notes at once: a phase vocoder that moves the regions around spectral peaks.

A frame of n samples, every n / 4, is cut into regions around its peaks (`spectral_peaks`). A peak at f bins moves by
(R - 1) f bins (`region_moving`) with its whole region, whose phases stay locked to its own [1]_; it is turned so that
it goes on from the frame before (`peak_turning`), and given a gain if formants are to stay (`peak_formants`). Before an
attack no more is let through than the sound itself had (`attack_keeping`).

The window after the inverse transform is half as long as the one before the transform: that saves a quarter of the
latency, and what moving spreads to the ends of a frame is not heard.

References
----------
.. [1] J. Laroche, M. Dolson, "New phase-vocoder techniques for pitch-shifting, harmonizing and other exotic effects",
   IEEE WASPAA 1999, 91-94.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.attack_keeping import BLOCKS, hold_back, leaps
from chainsim.dsp.peak_formants import envelope_array, envelope_through, formant_gains
from chainsim.dsp.peak_turning import HOPS, TURN, turn_peaks
from chainsim.dsp.real_fft import GREATEST, fft_work, inverse_real_fft, real_fft, twiddles
from chainsim.dsp.region_moving import MARGIN, fold_mirror, halve_ends, move_region, moved_spectrum, moving_taps
from chainsim.dsp.spectral_peaks import END, FREQUENCY, START, Counts, find_peaks, padded_power, peak_arrays
from chainsim.errors import SettingError
from chainsim.kernel import kernel
from chainsim.units import Array

PERIODS = 4.0
"""Of the lowest note in a frame: the main lobes of a Hann window are four bins wide, so harmonics stand apart."""

LONGEST_S = 0.05
"""A longer frame would smear attacks and follow slides too late: notes under 4 / 50 ms = 80 Hz share it."""

LEAST = 64
"""Samples in the shortest frame."""

SILENT = 1e-30
"""Less is nothing, so that no square of it is a subnormal number."""

APART = 16
"""Rows of a power of two would lie on the same lines of the processor's cache."""

NEVER = -(1 << 60)


class PeakShifter:
    """Voices at other pitches than the sound's own, whatever sounds: one note, several, or none.

    Parameters
    ----------
    lowest_hz : float > 0
        The lowest note to keep apart from others. It decides the frame: the power of two from four of its periods on,
        but no more than 50 ms.
    sample_rate_hz : float > 0
    voices : int >= 1

    Attributes
    ----------
    latency_samples : int
        Three quarters of a frame, less a sample.
    tail_s : float
        How long a voice may go on after the sound has ended until it is 90 dB down: two thirds of a frame, over which
        moving spreads the end. After three quarters there is nothing.

    Raises
    ------
    SettingError
        If the frame would be longer than the transforms are.
    """

    def __init__(self, lowest_hz: float, sample_rate_hz: float, voices: int) -> None:
        n = frame_samples(lowest_hz, sample_rate_hz)
        self.latency_samples = 3 * n // 4 - 1
        self.tail_s = 2 * n / 3 / sample_rate_hz
        self._windows = frame_windows(n)
        self._taps = moving_taps(self._windows[0] * self._windows[1])
        self._twiddles, self._work = twiddles(n), fft_work(n)
        self._kept, self._out = np.zeros(n), np.zeros((voices, n + APART))
        self._frame, self._own = np.zeros(n), np.zeros(n)
        self._spectrum, self._moved = np.zeros((2, n // 2 + 1)), moved_spectrum(n)
        self._power = padded_power(n)
        self._peaks, self._regions, self._owner = peak_arrays(n)
        self._old_peaks, _, self._old_owner = peak_arrays(n)
        most = self._peaks.shape[1]
        self._new, self._old_new = np.zeros(most, np.int64), np.zeros(most, np.int64)
        self._theta, self._old_theta = np.zeros((voices, most)), np.zeros((voices, most))
        self._line, self._gains = envelope_array(most), np.zeros(most)
        self._wanted = np.zeros((HOPS, voices + 1))
        self._energies, self._sums = np.zeros(2 * BLOCKS), np.zeros(2)
        self._period_blocks = min(math.ceil(sample_rate_hz / lowest_hz * BLOCKS / n) + 1, 2 * BLOCKS - 1)
        self._counts = np.zeros(2, np.int64)
        self.reset()

    def reset(self) -> None:
        """Forget what was heard."""
        for state in (self._kept, self._out, self._energies, self._sums):
            state.fill(0.0)
        self._counts[:] = 0, NEVER
        self._begun = False

    def process(self, n0: int, x: Array, ratios: Array, formant: Array, y: Array) -> None:
        """Fill y (voices, frames).

        Parameters
        ----------
        n0 : int
            Absolute index of the first sample.
        x : ndarray, shape (frames,)
        ratios : ndarray, shape (voices, frames)
            R, 1/4 ... 4, which counts at the middle of each frame.
        formant : ndarray, shape (frames,)
            From 0, where the timbre moves with the pitch, to 1, where it stays.
        """
        if not self._begun and x.size > 0:
            self._wanted[:, :-1] = ratios[:, 0]
            self._wanted[:, -1] = formant[0]
            self._begun = True
        shift_peaks(
            n0,
            x,
            ratios,
            formant,
            self.latency_samples,
            self._period_blocks,
            self._windows,
            self._taps,
            self._twiddles,
            self._work,
            self._kept,
            self._out,
            self._frame,
            self._own,
            self._spectrum,
            self._moved,
            self._power,
            self._peaks,
            self._regions,
            self._owner,
            self._new,
            self._theta,
            self._old_peaks,
            self._old_owner,
            self._old_new,
            self._old_theta,
            self._line,
            self._gains,
            self._wanted,
            self._energies,
            self._sums,
            self._counts,
            y,
        )


def frame_samples(lowest_hz: float, sample_rate_hz: float) -> int:
    """Samples in a frame: see `PeakShifter`."""
    n = LEAST
    while n < PERIODS * sample_rate_hz / lowest_hz and 2 * n <= LONGEST_S * sample_rate_hz:
        n *= 2
    if n > GREATEST:
        raise SettingError(f"sample_rate_hz = {sample_rate_hz:g} Hz, allowed up to {2 * GREATEST / LONGEST_S:g} Hz")
    return n


def frame_windows(n: int) -> Array:
    """The window before the transform, Hann, and the one after the inverse one, shape (2, n).

    Their product is a Hann window over the middle half, times 2 / n, which `inverse_real_fft` leaves to do: four of
    them, n / 4 apart, make 2 / n everywhere.
    """
    hann = 0.5 - 0.5 * np.cos(TURN * np.arange(n) / n)
    product = 0.5 - 0.5 * np.cos(2.0 * TURN * (np.arange(n) - n // 4) / n)
    after = np.zeros(n)
    middle = slice(n // 4, 3 * n // 4)
    after[middle] = product[middle] / hann[middle] * 2.0 / n
    return np.stack([hann, after])


@kernel
def shift_peaks(
    n0: int,
    x: Array,
    ratios: Array,
    formant: Array,
    latency: int,
    period_blocks: int,
    windows: Array,
    taps: Array,
    tw: Array,
    work: Array,
    kept: Array,
    out: Array,
    frame: Array,
    own: Array,
    spectrum: Array,
    moved: Array,
    power: Array,
    peaks: Array,
    regions: Counts,
    owner: Counts,
    new: Counts,
    theta: Array,
    old_peaks: Array,
    old_owner: Counts,
    old_new: Counts,
    old_theta: Array,
    line: Array,
    gains: Array,
    wanted: Array,
    energies: Array,
    sums: Array,
    counts: Counts,
    y: Array,
) -> None:
    """One span of `PeakShifter.process`.

    `kept` (n,) holds the newest samples and `out` (voices, n) what is being added up; `wanted` (4, voices + 1) the
    ratios and the formant at the middles of frames to come; `sums` the sample before and the energy of this block;
    `counts` how many peaks the frame before had, and when the newest attack began.
    """
    n, voices = kept.shape[0], out.shape[0]
    mask, hop, block = n - 1, n // HOPS, n // BLOCKS
    for i in range(x.shape[0]):
        now = n0 + i
        value = x[i] if abs(x[i]) > SILENT else 0.0
        kept[now & mask] = value
        if now & (hop - 1) == 0:
            for v in range(voices):
                wanted[(now // hop) % HOPS, v] = ratios[v, i]
            wanted[(now // hop) % HOPS, voices] = formant[i]
        # The difference of samples, since attacks show best in the high harmonics.
        sums[1] += (value - sums[0]) ** 2
        sums[0] = value
        if (now + 1) & (block - 1) == 0:
            if leaps(sums[1], now // block, period_blocks, energies) and now - counts[1] > hop:
                counts[1] = now + 1 - block
            sums[1] = 0.0
        if (now + 1) & (hop - 1) == 0:
            t = now + 1 - n // 2
            shift_frame(
                t,
                wanted[(t // hop) % HOPS],
                windows,
                taps,
                tw,
                work,
                kept,
                out,
                frame,
                own,
                spectrum,
                moved,
                power,
                peaks,
                regions,
                owner,
                new,
                theta,
                old_peaks,
                old_owner,
                old_new,
                old_theta,
                line,
                gains,
                counts,
            )
        ready = (now - latency) & mask
        for v in range(voices):
            y[v, i] = out[v, ready]
            out[v, ready] = 0.0


@kernel
def shift_frame(
    t: int,
    wanted: Array,
    windows: Array,
    taps: Array,
    tw: Array,
    work: Array,
    kept: Array,
    out: Array,
    frame: Array,
    own: Array,
    spectrum: Array,
    moved: Array,
    power: Array,
    peaks: Array,
    regions: Counts,
    owner: Counts,
    new: Counts,
    theta: Array,
    old_peaks: Array,
    old_owner: Counts,
    old_new: Counts,
    old_theta: Array,
    line: Array,
    gains: Array,
    counts: Counts,
) -> None:
    """Add the frame around sample t to `out`; `wanted` (voices + 1,) are the ratios and the formant there."""
    n, voices = kept.shape[0], out.shape[0]
    mask, half, hop = n - 1, n // 2, n // HOPS
    for j in range(half):
        own[j] = windows[0, half + j] * kept[(t + j) & mask]
        own[half + j] = windows[0, j] * kept[(t + half + j) & mask]
    re, im, yr, yi = spectrum[0], spectrum[1], moved[0], moved[1]
    real_fft(own, n, tw, work, re, im)
    count = find_peaks(re, im, power, peaks, regions, owner)
    since = t - counts[1]
    turn_peaks(since, n, wanted, count, peaks, regions, new, theta, counts[0], old_peaks, old_owner, old_new, old_theta)
    halve_ends(re, im)
    formant = wanted[voices]
    standing = envelope_through(peaks, count, line) if formant > 0.0 else 0
    gains[:count] = 1.0
    for v in range(voices):
        yr[:] = 0.0
        yi[:] = 0.0
        if formant > 0.0:
            formant_gains(peaks, count, line, standing, wanted[v], formant, half, gains)
        lowest = np.int64(0)
        for j in range(count):
            shift = (wanted[v] - 1.0) * peaks[FREQUENCY, j]
            start, end = regions[START, j], regions[END, j]
            lowest = min(lowest, move_region(re, im, start, end, shift, theta[v, j], gains[j], taps, yr, yi))
        fold_mirror(lowest, yr, yi)
        inverse_real_fft(yr[MARGIN + half :], yi[MARGIN + half :], n, tw, work, frame)
        if since < hop:
            hold_back(-since, own, frame)
        for j in range(hop):
            out[v, (t + j) & mask] += windows[1, half + j] * frame[j]
            out[v, (t - hop + j) & mask] += windows[1, hop + j] * frame[n - hop + j]
    counts[0] = count
    old_peaks[:] = peaks
    old_owner[:] = owner
    old_new[:] = new
    old_theta[:] = theta
