"""Shifts the pitch of one horn by its harmonics, period by period, and leaves alone what is no tone.

    h[n] = (1 - s) p_j(theta) + s p_{j+1}(theta),   theta = (u - m_j) / (m_{j+1} - m_j),   u = n - D           (1)
    y[n] = (1 - s) q_j(psi) + s q_{j+1}(psi),       psi' = R[n] / (m_{j+1} - m_j)                              (2)
    r[n] = x[u] - h[n]                                                                                         (3)

The take is marked once a period (`chainsim.dsp.period_marks`), two periods around every mark m_j are folded into one,
p_j (`chainsim.dsp.period_harmonics`), and its harmonics make one period q_j of a voice (`chainsim.dsp.harmonic_voice`).
A voice reads these at R times the horn's pace, and passes from one to the next as the horn does. What the folded
periods do not hold, r, is tongue, breath, keys: it is never shifted. So y + r at R = 1 is the take itself, D later.

Where the tracker knows no pitch, or two periods are not alike, p is 0, q is 0, and all of the take is in r.

Sources: pitch-synchronous overlap-add, E. Moulines, F. Charpentier, Speech Communication 9 (1990), 453-467; harmonic
plus noise models, Y. Stylianou, "Applying the harmonic plus noise model in concatenative speech synthesis", IEEE
Trans. Speech and Audio Processing 9(1), 2001, 21-29. That the voices are read from tables of one period, and that the
rest is the difference, is this project's own.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.dsp.harmonic_voice import move_harmonics, parity_share
from chainsim.dsp.period_harmonics import between, fold_two_periods, points_for
from chainsim.dsp.period_marks import LEAST_WINDOW_S, SHORTEST, next_period
from chainsim.dsp.pitch_rows import F0_HZ, VOICED
from chainsim.dsp.real_fft import GREATEST, fft_work, inverse_real_fft, real_fft, twiddles
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

Counts: TypeAlias = npt.NDArray[np.int64]

LONGER = 1.03
"""Of the lowest pitch a little lower still is followed: half a semitone."""

BEHIND = 4
"""Samples that reading between samples needs."""

TOP_HZ = 20_000.0
TOP_OF_RATE = 0.45
"""No harmonic of a voice lies higher."""

POINTS_A_HARMONIC = 4
"""Of a voice's table: with so many a cubic is read between them to -70 dB."""

SILENT = 1e-30

GUARD = 4
"""Points of a table kept a second time behind its end."""

ALIKE_FROM, ALIKE_TO = 0.3, 0.6
"""Likeness of two periods below which nothing is shifted, and from which all is."""


NEW_NOTE = 0.05
"""Change of the tracked period, relative to it, that is more than vibrato."""

OCTAVE_DOUBT = 0.05
"""By how much a period more than half as long again has to fit better than the last one."""

SETTLING_S = 0.01
"""Time to 1 - 1/e in which the shape of the period is known: what is not the same for so long is breath."""

SHAPE_FROM, SHAPE_TO = 0.98, 0.998
"""Correlation with the shape before, below which it counts for nothing, and from which it counts in full."""


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
        self._marks = np.zeros(5)
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
        self._marks[:] = first, first + hop, first + 2.0 * hop, hop, 0.0
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

    marks: m_j, m_{j+1}, m_{j+2}, the period last used, the pitch last known in Hz. counts: samples that came; which of
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
                marks[4] if counts[3] >= u else 0.0,
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
        period, early = marks[1] - marks[0], counts[1]
        late = 1 - early
        for c in range(channels):
            for k in range(i, end):
                rest[c, k] = line[c, (u + k - i) & (size - 1)]
        if counts[2] == 0:
            for v in range(voices.shape[0]):
                for k in range(i, end):
                    voices[v, k] = 0.0
        else:
            lead, pace = u - i, 1.0 / period
            for c in range(channels):
                take_away(
                    folded[c, early],
                    points[count, early],
                    folded[c, late],
                    points[count, late],
                    lead,
                    marks[0],
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
                        pace,
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
    newest, known, f0_hz = counts[0], counts[3], marks[4]
    for c in range(x.shape[0]):
        for k in range(i, end):
            place = (newest + k - i) & (size - 1)
            value = x[c, k] if abs(x[c, k]) > SILENT else 0.0
            line[c, place] = value
            line[c, place + size] = value
    for k in range(i, end):
        if track[VOICED, k] > 0.0:
            f0_hz, known = track[F0_HZ, k], newest + k - i
    counts[0], counts[3], marks[4] = newest + end - i, known, f0_hz
    return int(counts[0] - 1 - latency)


@kernel
def take_away(
    early: Array, n: int, late: Array, m: int, lead: int, mark: float, pace: float, i: int, end: int, y: Array
) -> None:
    """Subtract equation (1) from y[i:end]; sample k lies at (lead + k - mark) pace."""
    for k in range(i, end):
        theta = (lead + k - mark) * pace
        s = theta * theta * (3.0 - 2.0 * theta)
        t = theta * n
        j = np.uint64(min(int(t), n - 1))
        h = between(early[j], early[j + np.uint64(1)], early[j + np.uint64(2)], early[j + np.uint64(3)], t - float(j))
        t = theta * m
        j = np.uint64(min(int(t), m - 1))
        y[k] -= h + s * (
            between(late[j], late[j + np.uint64(1)], late[j + np.uint64(2)], late[j + np.uint64(3)], t - float(j)) - h
        )


@kernel
def read_voice(
    early: Array,
    n: int,
    late: Array,
    m: int,
    lead: int,
    mark: float,
    pace: float,
    ratio: Array,
    own: float,
    psi: float,
    i: int,
    end: int,
    y: Array,
) -> float:
    """Fill y[i:end] with equation (2), psi moving by ratio times `own`; return psi."""
    for k in range(i, end):
        theta = (lead + k - mark) * pace
        s = theta * theta * (3.0 - 2.0 * theta)
        psi += ratio[k] * own
        if psi >= 1.0:
            psi -= math.floor(psi)
        t = psi * n
        j = np.uint64(min(int(t), n - 1))
        if n == m:
            a, b, c, d = early[j], early[j + np.uint64(1)], early[j + np.uint64(2)], early[j + np.uint64(3)]
            y[k] = between(
                a + s * (late[j] - a),
                b + s * (late[j + np.uint64(1)] - b),
                c + s * (late[j + np.uint64(2)] - c),
                d + s * (late[j + np.uint64(3)] - d),
                t - float(j),
            )
        else:
            h = between(
                early[j], early[j + np.uint64(1)], early[j + np.uint64(2)], early[j + np.uint64(3)], t - float(j)
            )
            t = psi * m
            j = np.uint64(min(int(t), m - 1))
            y[k] = h + s * (
                between(late[j], late[j + np.uint64(1)], late[j + np.uint64(2)], late[j + np.uint64(3)], t - float(j))
                - h
            )
    return psi


@kernel
def step_on(
    newest: int,
    u: int,
    f0_hz: float,
    ratios: Array,
    i: int,
    fixed_hz: Array,
    formant: float,
    rate_hz: float,
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
) -> None:
    """Go on by one mark: find the one after it, fold its two periods, make the voices' tables."""
    last_period = marks[1] - marks[0]
    marks[0], marks[1] = marks[1], marks[2]
    counts[1] = 1 - counts[1]
    # The step of this sample began before the mark.
    unlike = (1.0 - (u - marks[0])) * (1.0 / last_period - 1.0 / (marks[1] - marks[0]))
    for v in range(ratios.shape[0]):
        if fixed_hz[v] == 0.0:
            phases[v] += ratios[v, i] * unlike
            phases[v] -= math.floor(phases[v])
    which = 1 - counts[1]
    sounding = counts[2] >> 1
    wanted = rate_hz / f0_hz if f0_hz > 0.0 else 0.0
    weight = 0.0
    if SHORTEST <= wanted <= longest:
        if sounding == 0 or abs(wanted - marks[3]) <= NEW_NOTE * marks[3]:
            counts[4] = -1
        elif counts[4] < 0:
            counts[4] = newest
        doubtful = counts[4] >= 0 and newest - counts[4] < newest - u
        marks[3], alike = best_period(line, size, newest, marks[1], wanted, marks[3] if doubtful else 0.0, least_window)
        weight = min(max((alike - ALIKE_FROM) / (ALIKE_TO - ALIKE_FROM), 0.0), 1.0)
    marks[2] = marks[1] + marks[3]
    count = ratios.shape[0]
    counts[2] = sounding
    if not weight > 0.0:
        if sounding != 0:
            for c in range(line.shape[0]):
                silence(folded[c, which], points[count, which])
                for v in range(count):
                    silence(tables[v, c, which], points[v, which])
        return
    counts[2] = sounding | 2
    if sounding == 0:
        for c in range(line.shape[0]):
            silence(folded[c, 1 - which], points[count, 1 - which])
            for v in range(count):
                silence(tables[v, c, 1 - which], points[v, 1 - which])
        for v in range(count):
            phases[v] = (u - 1 - marks[0]) / (marks[1] - marks[0])
            phases[v] -= math.floor(phases[v])
    n = points_for(
        points[count, 1 - which] if sounding != 0 else 16,
        max(marks[1] - marks[0], marks[2] - marks[1]),
        folded.shape[2] - GUARD,
    )
    points[count, which] = n
    for c in range(line.shape[0]):
        fold_two_periods(line[c], size, marks[0], marks[1], marks[2], n, one)
        if sounding != 0 and n == points[count, 1 - which]:
            settle(one, mean[c], n, math.exp(-marks[3] / (SETTLING_S * rate_hz)))
        mean[c, :n] = one[:n]
        keep_table(one, n, weight, folded[c, which])
        re, im, strength = spectrum[0], spectrum[1], spectrum[2]
        real_fft(one, n, tw, work, re, im)
        harmonics = min(int(0.5 * (marks[2] - marks[1])), n // 2 - 1)
        power = 0.0
        for k in range(1, harmonics + 1):
            strength[k] = math.sqrt(re[k] * re[k] + im[k] * im[k])
            power += strength[k] * strength[k]
        parity = parity_share(strength, harmonics)
        for v in range(count):
            ratio = ratios[v, i]
            if fixed_hz[v] > 0.0:
                ratio *= fixed_hz[v] * marks[3] / rate_hz
            spacing = math.exp(formant * math.log(ratio))
            most = int(top * marks[3] / ratio)
            m = 16
            while m < POINTS_A_HARMONIC * most and m < tables.shape[3] - GUARD:
                m *= 2
            most = min(most, m // 2 - 1)
            voice_re, voice_im = spectrum[3], spectrum[4]
            move_harmonics(re, im, strength, harmonics, parity, power, spacing, most, voice_re, voice_im)
            for k in range(most + 1, m // 2 + 1):
                voice_re[k], voice_im[k] = 0.0, 0.0
            inverse_real_fft(voice_re, voice_im, m, tw, work, one)
            keep_table(one, m, 2.0 * weight / n, tables[v, c, which])
            points[v, which] = m


@kernel
def best_period(
    line: Audio, size: int, newest: int, mark: float, wanted: float, last: float, least_window: int
) -> tuple[float, float]:
    """`next_period` for the pitch that is known, or for the last period (0 for none), where that still fits better.

    The track may be ahead of the sound here, or slip by an octave: a period twice as long always fits, too.
    """
    period, alike = next_period(line, size, newest, mark, wanted, max(math.ceil(wanted), least_window))
    if last > 0.0:
        other, still = next_period(line, size, newest, mark, last, max(math.ceil(last), least_window))
        if still + (OCTAVE_DOUBT if wanted > 1.5 * last else 0.0) >= alike:
            return other, still
    return period, alike


@kernel
def keep_table(p: Array, n: int, gain: float, table: Array) -> None:
    """Put gain p[:n] into a table: the last point goes before the first, and three of the first behind the last."""
    table[0] = gain * p[n - 1]
    for k in range(n):
        table[k + 1] = gain * p[k]
    for k in range(3):
        table[n + 1 + k] = gain * p[k]


@kernel
def settle(one: Array, mean: Array, n: int, kept: float) -> None:
    """Let one[:n] be its average with the periods before, at its own level."""
    energy, before, product = 0.0, 0.0, 0.0
    for k in range(n):
        energy += one[k] * one[k]
        before += mean[k] * mean[k]
        product += one[k] * mean[k]
    if product <= 0.0:
        return
    shape = product / math.sqrt(energy * before)
    share = kept * min(max((shape - SHAPE_FROM) / (SHAPE_TO - SHAPE_FROM), 0.0), 1.0)
    level = product / before
    for k in range(n):
        one[k] += share * (level * mean[k] - one[k])


@kernel
def silence(table: Array, n: int) -> None:
    """Empty a table of n points."""
    for k in range(n + GUARD):
        table[k] = 0.0
