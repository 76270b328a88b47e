"""What the harmonic shifter does once a mark: finds the next one, folds two periods, makes one of each voice."""

from __future__ import annotations

import math
from typing import NamedTuple

from chainsim.dsp.harmonic_tables import GUARD, keep_table, silence
from chainsim.dsp.harmonic_voice import DISPERSION, disperse, dispersion, lend_phases, move_strengths, parity_share
from chainsim.dsp.period_harmonics import SETTLING_S, fold_two_periods, points_for, settle
from chainsim.dsp.period_marks import NEW_NOTE, SHORTEST, best_period, periods_in
from chainsim.dsp.real_fft import inverse_real_fft, real_fft
from chainsim.kernel import kernel
from chainsim.units import Array, Audio, Counts

POINTS_A_HARMONIC = 4
"""Of a voice's table: with so many a cubic is read between them to -70 dB."""

ALIKE_FROM, ALIKE_TO = 0.3, 0.6
"""Likeness of two periods below which nothing is shifted, and from which all is."""

LAST, NEXT, AFTER, KNOWN_HZ, PACE, NEXT_PACE = range(6)
"""Of `State.marks`: m_j, m_{j+1}, m_{j+2}; pitch last known; periods a sample from m_j on, and from m_{j+1} on."""

HEARD, EARLY, SOUNDING, KNOWN, OTHER_SINCE = range(5)
"""Of `State.counts`: samples that came; which of two tables is the earlier one; whether they sound (bit 0: the earlier,
bit 1: the later); up to which sample a pitch is known; since when it has been another than the last period's, or -1."""


class Constants(NamedTuple):
    """What a shifter is made for.

    Attributes
    ----------
    rate_hz : float
    latency : int
        Samples.
    longest : float
        Longest period, in samples.
    least_window : int
        Shortest window in which periods are compared, in samples.
    top : float
        Highest frequency of a voice, relative to the sample rate.
    size : int
        Samples that `State.line` holds, a power of two.
    twiddles : ndarray
        Of the transforms.
    """

    rate_hz: float
    latency: int
    longest: float
    least_window: int
    top: float
    size: int
    twiddles: Array


class State(NamedTuple):
    """What a shifter remembers, and room to work in.

    Attributes
    ----------
    line : ndarray, shape (channels, 2 * size)
        The take, written twice: sample n at n mod size and at size + n mod size.
    folded : ndarray, shape (channels, 2, points + GUARD)
        Tables of p_j and p_{j+1}.
    mean : ndarray, shape (channels, points)
        Shape of the period so far.
    tables : ndarray, shape (voices, channels, 2, points + GUARD)
        Tables of q_j and q_{j+1} of each voice.
    points : ndarray, shape (voices + 1, 2)
        How many points of these tables are used: `tables`, then `folded`.
    marks : ndarray, shape (6,)
    counts : ndarray, shape (5,)
    phases : ndarray, shape (voices,)
        psi of each voice, 0 to 1.
    one, work : ndarray
        Scratch: a period, a transform.
    spectrum : ndarray, shape (5, bins)
        Scratch: the horn's harmonics, their strengths, a voice's harmonics.
    """

    line: Audio
    folded: Array
    mean: Array
    tables: Array
    points: Counts
    marks: Array
    counts: Counts
    phases: Array
    one: Array
    work: Array
    spectrum: Array


@kernel
def step_on(u: int, ratios: Array, i: int, fixed_hz: Array, formant: float, constants: Constants, state: State) -> None:
    """Go on by one mark, to sample u and frame i: find the mark after it, make the tables of that."""
    marks, counts, phases = state.marks, state.counts, state.phases
    last_pace, sounding = marks[PACE], counts[SOUNDING] >> 1
    marks[LAST], marks[NEXT], marks[PACE] = marks[NEXT], marks[AFTER], marks[NEXT_PACE]
    counts[EARLY], counts[SOUNDING] = 1 - counts[EARLY], sounding
    weight = find_next_mark(u, constants, state)
    if sounding == 0:
        marks[PACE] = marks[NEXT_PACE]
    # The step of this sample began before the mark.
    unlike = (1.0 - (u - marks[LAST])) * (last_pace - marks[PACE])
    for v in range(phases.shape[0]):
        if fixed_hz[v] == 0.0:
            phases[v] += ratios[v, i] * unlike
            phases[v] -= math.floor(phases[v])
    late = 1 - counts[EARLY]
    if weight > 0.0:
        counts[SOUNDING] = sounding | 2
        if sounding == 0:
            silence_tables(1 - late, state)
            for v in range(phases.shape[0]):
                phases[v] = (u - 1 - marks[NEXT]) * marks[PACE]
                phases[v] -= math.floor(phases[v])
        make_tables(late, weight, sounding, ratios, i, fixed_hz, formant, constants, state)
    elif sounding != 0:
        silence_tables(late, state)


@kernel
def find_next_mark(u: int, constants: Constants, state: State) -> float:
    """Set the mark after the next one; return how surely the take repeats there, 0 to 1."""
    marks, counts, rate_hz, longest = state.marks, state.counts, constants.rate_hz, constants.longest
    newest, f0_hz = counts[HEARD] - 1, marks[KNOWN_HZ] if counts[KNOWN] >= u else 0.0
    wanted = rate_hz / f0_hz if f0_hz > 0.0 else 0.0
    last, weight = 1.0 / marks[PACE], 0.0
    period, span = last, periods_in(last, longest, rate_hz) * last
    if SHORTEST <= wanted <= longest:
        if counts[SOUNDING] == 0 or abs(wanted - last) <= NEW_NOTE * last:
            counts[OTHER_SINCE] = -1
        elif counts[OTHER_SINCE] < 0:
            counts[OTHER_SINCE] = newest
        doubtful = counts[OTHER_SINCE] >= 0 and newest - counts[OTHER_SINCE] < newest - u
        period, span, alike = best_period(
            state.line,
            constants.size,
            newest,
            marks[NEXT],
            wanted,
            last if doubtful else 0.0,
            longest,
            rate_hz,
            constants.least_window,
        )
        weight = min(max((alike - ALIKE_FROM) / (ALIKE_TO - ALIKE_FROM), 0.0), 1.0)
    marks[AFTER], marks[NEXT_PACE] = marks[NEXT] + span, 1.0 / period
    return float(weight)


@kernel
def silence_tables(which: int, state: State) -> None:
    """Empty the tables of one mark."""
    count = state.tables.shape[0]
    for c in range(state.folded.shape[0]):
        silence(state.folded[c, which], state.points[count, which])
        for v in range(count):
            silence(state.tables[v, c, which], state.points[v, which])


@kernel
def make_tables(
    which: int,
    weight: float,
    sounding: int,
    ratios: Array,
    i: int,
    fixed_hz: Array,
    formant: float,
    constants: Constants,
    state: State,
) -> None:
    """Fold the two periods around the next mark, and make one of each voice."""
    marks, points, one, spectrum = state.marks, state.points, state.one, state.spectrum
    line, folded, mean, tables, work = state.line, state.folded, state.mean, state.tables, state.work
    rate_hz, top, twiddles = constants.rate_hz, constants.top, constants.twiddles
    count, before, period = tables.shape[0], 1.0 / marks[PACE], 1.0 / marks[NEXT_PACE]
    mark, span = marks[NEXT], marks[AFTER] - marks[NEXT]
    n = points_for(points[count, 1 - which] if sounding != 0 else 16, max(before, span), folded.shape[2] - GUARD)
    points[count, which] = n
    re, im, strength, voice_re, voice_im = spectrum[0], spectrum[1], spectrum[2], spectrum[3], spectrum[4]
    for c in range(line.shape[0]):
        fold_two_periods(line[c], constants.size, mark - before, mark, mark + period, n, one)
        if sounding != 0 and n == points[count, 1 - which]:
            settle(one, mean[c], n, math.exp(-span / (SETTLING_S * rate_hz)))
        mean[c, :n] = one[:n]
        keep_table(one, n, weight, folded[c, which])
        real_fft(one, n, twiddles, work, re, im)
        harmonics = min(int(0.5 * period), n // 2 - 1)
        power = 0.0
        for k in range(1, harmonics + 1):
            strength[k] = math.sqrt(re[k] * re[k] + im[k] * im[k])
            power += strength[k] * strength[k]
        parity = parity_share(strength, harmonics)
        for v in range(count):
            ratio = ratios[v, i]
            if fixed_hz[v] > 0.0:
                ratio *= fixed_hz[v] * period / rate_hz
            spacing = ratio if formant == 1.0 else math.exp(formant * math.log(ratio))
            most = int(top * period / ratio)
            m = 16
            while m < POINTS_A_HARMONIC * most and m < tables.shape[3] - GUARD:
                m *= 2
            most = min(most, m // 2 - 1)
            move_strengths(strength, harmonics, parity, power, spacing, most, voice_re)
            if fixed_hz[v] > 0.0:
                voice_im[: most + 1] = 0.0
                disperse(voice_re, voice_im, most, DISPERSION)
            else:
                lend_phases(re, im, strength, harmonics, spacing, most, voice_re, voice_im)
                curve = dispersion(ratio)
                if curve > 0.0:
                    disperse(voice_re, voice_im, most, curve)
            voice_re[most + 1 : m // 2 + 1] = 0.0
            voice_im[most + 1 : m // 2 + 1] = 0.0
            inverse_real_fft(voice_re, voice_im, m, twiddles, work, one)
            keep_table(one, m, 2.0 * weight / n, tables[v, c, which])
            points[v, which] = m
