"""Shifts the pitch of one horn by its harmonics, period by period, and leaves alone what is no tone.

    h[n] = (1 - s) p_j(theta) + s p_{j+1}(theta),   theta = (u - m_j) / T_j,   u = n - D                       (1)
    y[n] = (1 - s) q_j(psi) + s q_{j+1}(psi),       psi' = R[n] / T_j                                          (2)
    r[n] = x[u] - h[n],   s = w^2 (3 - 2 w),   w = (u - m_j) / (m_{j+1} - m_j)                                 (3)

The take is marked once a period T_j, of high notes once in several (`chainsim.dsp.period_marks`); two periods around
every mark m_j are folded into one, p_j (`chainsim.dsp.period_harmonics`), and its harmonics make one period q_j of a
voice (`chainsim.dsp.harmonic_voice`). A voice reads these at R times the horn's pace, a drone at R times its own pitch,
and passes from one to the next as the horn does. What the folded periods do not hold, r, is tongue, breath, keys: it is
never shifted. So y + r at R = 1 is the take itself, D later.

Where the tracker knows no pitch, or two periods are not alike, p is 0, q is 0, and all of the take is in r.

Sources: pitch-synchronous overlap-add, E. Moulines, F. Charpentier, Speech Communication 9 (1990), 453-467; harmonic
plus noise models, Y. Stylianou, "Applying the harmonic plus noise model in concatenative speech synthesis", IEEE
Trans. Speech and Audio Processing 9(1), 2001, 21-29. That the voices are read from tables of one period, and that the
rest is the difference, is this project's own.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.harmonic_steps import (
    EARLY,
    HEARD,
    KNOWN,
    KNOWN_HZ,
    LAST,
    NEXT,
    OTHER_SINCE,
    PACE,
    POINTS_A_HARMONIC,
    SOUNDING,
    Constants,
    State,
    step_on,
)
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
        rate_hz = float(sample_rate_hz)
        longest = float(LONGER * rate_hz / lowest_hz)
        self.latency_samples = math.ceil(2.0 * longest) + BEHIND
        self.tail_s = longest / rate_hz
        least_window = math.ceil(LEAST_WINDOW_S * rate_hz)
        kept = self.latency_samples + 2.0 * longest + 2 * least_window + 64
        size = 1 << math.ceil(math.log2(kept))
        points = 1 << math.ceil(math.log2(max(longest, 16.0)))
        top = min(TOP_HZ / rate_hz, TOP_OF_RATE)
        longest_table = 16
        while longest_table < min(POINTS_A_HARMONIC * top * 4.0 * longest, GREATEST):
            longest_table *= 2
        most = max(points, longest_table)
        self._constants = Constants(rate_hz, self.latency_samples, longest, least_window, top, size, twiddles(most))
        self._state = State(
            line=np.zeros((channels, 2 * size)),
            folded=np.zeros((channels, 2, points + GUARD)),
            mean=np.zeros((channels, points)),
            tables=np.zeros((voices, channels, 2, longest_table + GUARD)),
            points=np.zeros((voices + 1, 2), np.int64),
            marks=np.zeros(6),
            counts=np.zeros(5, np.int64),
            phases=np.zeros(voices),
            one=np.zeros(most),
            work=fft_work(most),
            spectrum=np.zeros((5, most // 2 + 1)),
        )
        self.reset()

    def reset(self) -> None:
        """Forget what was heard."""
        for array in self._state:
            array.fill(0)
        constants, state = self._constants, self._state
        state.points.fill(16)
        hop = min(constants.longest, 0.005 * constants.rate_hz)
        first = -float(self.latency_samples)
        state.marks[:] = first, first + hop, first + 2.0 * hop, 0.0, 1.0 / hop, 1.0 / hop
        state.counts[KNOWN], state.counts[OTHER_SINCE] = -self.latency_samples - 1, -1

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
        shift_harmonics(x, track, ratios, fixed_hz, formant, self._constants, self._state, voices, rest)


@kernel
def shift_harmonics(
    x: Audio,
    track: Array,
    ratios: Array,
    fixed_hz: Array,
    formant: Array,
    constants: Constants,
    state: State,
    voices: Audio,
    rest: Audio,
) -> None:
    """One span of `HarmonicShifter.process`."""
    line, folded, tables, points = state.line, state.folded, state.tables, state.points
    marks, counts, phases, mask = state.marks, state.counts, state.phases, constants.size - 1
    channels, count, frames = x.shape[0], ratios.shape[0], x.shape[1]
    i = np.int64(0)  # a plain 0 would be a type of its own to numba
    while i < frames:
        u = hear(x, track, i, i + 1, constants, state)
        while u >= marks[NEXT]:
            step_on(u, ratios, i, fixed_hz, formant[i], constants, state)
        end = min(frames, i + math.ceil(marks[NEXT] - u))
        hear(x, track, i + 1, end, constants, state)
        early, late = counts[EARLY], 1 - counts[EARLY]
        for c in range(channels):
            for k in range(i, end):
                rest[c, k] = line[c, (u + k - i) & mask]
        if counts[SOUNDING] == 0:
            for v in range(voices.shape[0]):
                for k in range(i, end):
                    voices[v, k] = 0.0
        else:
            lead, last, share, pace = u - i, marks[LAST], 1.0 / (marks[NEXT] - marks[LAST]), marks[PACE]
            for c in range(channels):
                take_away(
                    folded[c, early],
                    points[count, early],
                    folded[c, late],
                    points[count, late],
                    lead,
                    last,
                    share,
                    marks[NEXT],
                    pace,
                    i,
                    end,
                    rest[c],
                )
            for v in range(count):
                own = pace if fixed_hz[v] == 0.0 else fixed_hz[v] / constants.rate_hz
                psi = phases[v]
                for c in range(channels):
                    phases[v] = read_voice(
                        tables[v, c, early],
                        points[v, early],
                        tables[v, c, late],
                        points[v, late],
                        lead,
                        last,
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
def hear(x: Audio, track: Array, i: int, end: int, constants: Constants, state: State) -> int:
    """Take in the samples i ... end - 1; return the number of the sample that sounds with the last of them."""
    line, marks, counts, size = state.line, state.marks, state.counts, constants.size
    newest, known, f0_hz = counts[HEARD], counts[KNOWN], marks[KNOWN_HZ]
    for c in range(x.shape[0]):
        for k in range(i, end):
            place = (newest + k - i) & (size - 1)
            value = x[c, k] if abs(x[c, k]) > SILENT else 0.0
            line[c, place] = value
            line[c, place + size] = value
    for k in range(i, end):
        if track[VOICED, k] > 0.0:
            f0_hz, known = track[F0_HZ, k], newest + k - i
    counts[HEARD], counts[KNOWN], marks[KNOWN_HZ] = newest + end - i, known, f0_hz
    return int(counts[HEARD] - 1 - constants.latency)
