"""Shifts the pitch of one horn by its harmonics, period by period, and leaves alone what is no tone.

    h[n] = (1 - s) p_j(theta) + s p_{j+1}(theta),   theta = (u - m_j) / T_j,   u = n - D                       (1)
    y[n] = (1 - s) q_j(psi) + s q_{j+1}(psi),       psi' = R[n] / T_j                                          (2)
    r[n] = x[u] - h[n],   s = w^2 (3 - 2 w),   w = (u - m_j) / (m_{j+1} - m_j)                                 (3)

The take is marked once a period T_j, of high notes once in several (`chainsim.dsp.period_marks`); two periods around
every mark m_j are folded into one, p_j (`chainsim.dsp.period_harmonics`), and its harmonics make one period q_j of a
voice (`chainsim.dsp.harmonic_voice`). A voice reads these at R times the horn's pace, and passes from one to the next
as the horn does. What the folded periods do not hold, r, is tongue, breath, keys: it is never shifted. So y + r at
R = 1 is the take itself, D later.

Where the tracker knows no pitch, or two periods are not alike, p is 0, q is 0, and all of the take is in r.

Sources: pitch-synchronous overlap-add, E. Moulines, F. Charpentier, Speech Communication 9 (1990), 453-467; harmonic
plus noise models, Y. Stylianou, "Applying the harmonic plus noise model in concatenative speech synthesis", IEEE
Trans. Speech and Audio Processing 9(1), 2001, 21-29. That the voices are read from tables of one period, and that the
rest is the difference, is this project's own.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.harmonic_steps import KNOWN_HZ, PACE, POINTS_A_HARMONIC, Counts, step_on
from chainsim.dsp.harmonic_tables import GUARD, read_voice, take_away
from chainsim.dsp.period_marks import LEAST_WINDOW_S
from chainsim.dsp.pitch_rows import F0_HZ, VOICED
from chainsim.dsp.real_fft import GREATEST, fft_work, twiddles
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

LONGER = 1.03
"""Of the lowest pitch a little lower still is followed: half a semitone."""

BEHIND = 4
"""Samples that reading between samples needs."""

TOP_HZ = 20_000.0
TOP_OF_RATE = 0.45
"""No harmonic of a voice lies higher."""

SILENT = 1e-30


class HarmonicShifter:
    """Voices at other pitches than the horn's own.

    Parameters
    ----------
    lowest_hz : float
        Lowest pitch to be shifted; it decides the latency.
    sample_rate_hz : float
    voices, channels : int

    Attributes
    ----------
    latency_samples : int
        Two periods of the lowest pitch, and a little more.
    tail_s : float
        How long a tone may go on after the take has ended: a period.
    """

    def __init__(self, lowest_hz: float, sample_rate_hz: float, voices: int, channels: int) -> None:
        self._rate_hz = float(sample_rate_hz)
        self._longest = LONGER * sample_rate_hz / lowest_hz
        self.latency_samples = math.ceil(2.0 * self._longest) + BEHIND
        self.tail_s = self._longest / sample_rate_hz
        least_window = math.ceil(LEAST_WINDOW_S * sample_rate_hz)
        kept = self.latency_samples + 2.0 * self._longest + 2 * least_window + 64
        self._size = 1 << math.ceil(math.log2(kept))
        self._least_window = least_window
        points = 1 << math.ceil(math.log2(max(self._longest, 16.0)))
        top = min(TOP_HZ, TOP_OF_RATE * sample_rate_hz) / sample_rate_hz
        self._top = top
        self._line = np.zeros((channels, 2 * self._size))
        self._folded = np.zeros((channels, 2, points + GUARD))
        longest_table = 16
        while longest_table < min(POINTS_A_HARMONIC * top * 4.0 * self._longest, GREATEST):
            longest_table *= 2
        self._mean = np.zeros((channels, points))
        self._tables = np.zeros((voices, channels, 2, longest_table + GUARD))
        self._points = np.zeros((voices + 1, 2), np.int64)
        most = max(points, longest_table)
        self._twiddles, self._work = twiddles(most), fft_work(most)
        self._one = np.zeros(most)
        self._spectrum = np.zeros((5, most // 2 + 1))
        self._marks = np.zeros(6)
        self._counts = np.zeros(5, np.int64)
        self._phases = np.zeros(voices)
        self.reset()

    def reset(self) -> None:
        """Forget what was heard."""
        for state in (self._line, self._folded, self._mean, self._tables, self._phases):
            state.fill(0.0)
        self._points.fill(16)
        self._counts.fill(0)
        hop = min(self._longest, 0.005 * self._rate_hz)
        first = -float(self.latency_samples)
        self._marks[:] = first, first + hop, first + 2.0 * hop, 0.0, 1.0 / hop, 1.0 / hop
        self._counts[3:] = -self.latency_samples - 1, -1

    def process(
        self, x: Audio, track: Array, ratios: Array, fixed_hz: Array, formant: Array, voices: Audio, rest: Audio
    ) -> None:
        """Fill `voices` (voices * channels, frames) and `rest` (channels, frames).

        Parameters
        ----------
        x : ndarray, shape (channels, frames)
        track : ndarray, shape (5, frames)
            Rows of `chainsim.dsp.pitch_rows`.
        ratios : ndarray, shape (voices, frames)
            R of equation (2); above 0.
        fixed_hz : ndarray, shape (voices,)
            0, or the frequency of a voice that keeps its pitch, which R then multiplies.
        formant : ndarray, shape (frames,)
            0 ... 1.
        """
        shift_harmonics(
            x,
            track,
            ratios,
            fixed_hz,
            formant,
            self._rate_hz,
            self.latency_samples,
            self._longest,
            self._least_window,
            self._top,
            self._size,
            self._twiddles,
            self._work,
            self._one,
            self._spectrum,
            self._line,
            self._folded,
            self._mean,
            self._tables,
            self._points,
            self._marks,
            self._counts,
            self._phases,
            voices,
            rest,
        )


@kernel
def shift_harmonics(
    x: Audio,
    track: Array,
    ratios: Array,
    fixed_hz: Array,
    formant: Array,
    rate_hz: float,
    latency: int,
    longest: float,
    least_window: int,
    top: float,
    size: int,
    tw: Array,
    work: Array,
    one: Array,
    spectrum: Array,
    line: Audio,
    folded: Audio,
    mean: Audio,
    tables: Array,
    points: Counts,
    marks: Array,
    counts: Counts,
    phases: Array,
    voices: Audio,
    rest: Audio,
) -> None:
    """One span of `HarmonicShifter.process`.

    marks: m_j, m_{j+1}, m_{j+2}, the pitch last known in Hz, periods a sample from m_j and from m_{j+1} on. counts:
    samples that came; which of
    the two tables is the earlier one; whether they sound (bit 0: the earlier, bit 1: the later); when a pitch was
    last known: it counts for all that was played up to then; since when it has been another than the last period's,
    or -1.
    """
    channels, count, frames = x.shape[0], ratios.shape[0], x.shape[1]
    i = np.int64(0)  # a plain 0 would be a type of its own to numba
    while i < frames:
        u = hear(x, track, i, i + 1, latency, size, line, marks, counts)
        while u >= marks[1]:
            step_on(
                counts[0] - 1,
                u,
                marks[KNOWN_HZ] if counts[3] >= u else 0.0,
                ratios,
                i,
                fixed_hz,
                formant[i],
                rate_hz,
                longest,
                least_window,
                top,
                size,
                tw,
                work,
                one,
                spectrum,
                line,
                folded,
                mean,
                tables,
                points,
                marks,
                counts,
                phases,
            )
        end = min(frames, i + math.ceil(marks[1] - u))
        hear(x, track, i + 1, end, latency, size, line, marks, counts)
        early, late = counts[1], 1 - counts[1]
        for c in range(channels):
            for k in range(i, end):
                rest[c, k] = line[c, (u + k - i) & (size - 1)]
        if counts[2] == 0:
            for v in range(voices.shape[0]):
                for k in range(i, end):
                    voices[v, k] = 0.0
        else:
            lead, share, pace = u - i, 1.0 / (marks[1] - marks[0]), marks[PACE]
            for c in range(channels):
                take_away(
                    folded[c, early],
                    points[count, early],
                    folded[c, late],
                    points[count, late],
                    lead,
                    marks[0],
                    share,
                    marks[1],
                    pace,
                    i,
                    end,
                    rest[c],
                )
            for v in range(count):
                own = pace if fixed_hz[v] == 0.0 else fixed_hz[v] / rate_hz
                psi = phases[v]
                for c in range(channels):
                    phases[v] = read_voice(
                        tables[v, c, early],
                        points[v, early],
                        tables[v, c, late],
                        points[v, late],
                        lead,
                        marks[0],
                        share,
                        ratios[v],
                        own,
                        psi,
                        i,
                        end,
                        voices[v * channels + c],
                    )
        i = end


@kernel
def hear(
    x: Audio, track: Array, i: int, end: int, latency: int, size: int, line: Audio, marks: Array, counts: Counts
) -> int:
    """Take in the samples i ... end - 1; return the number of the sample that sounds with the last of them."""
    newest, known, f0_hz = counts[0], counts[3], marks[KNOWN_HZ]
    for c in range(x.shape[0]):
        for k in range(i, end):
            place = (newest + k - i) & (size - 1)
            value = x[c, k] if abs(x[c, k]) > SILENT else 0.0
            line[c, place] = value
            line[c, place + size] = value
    for k in range(i, end):
        if track[VOICED, k] > 0.0:
            f0_hz, known = track[F0_HZ, k], newest + k - i
    counts[0], counts[3], marks[KNOWN_HZ] = newest + end - i, known, f0_hz
    return int(counts[0] - 1 - latency)
