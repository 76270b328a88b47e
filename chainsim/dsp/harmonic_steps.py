"""What the harmonic shifter does once a mark: finds the next one, folds two periods, makes one of each voice."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from chainsim.dsp.harmonic_tables import GUARD, keep_table, silence
from chainsim.dsp.harmonic_voice import DISPERSION, disperse, dispersion, lend_phases, move_strengths, parity_share
from chainsim.dsp.period_harmonics import SETTLING_S, fold_two_periods, points_for, settle
from chainsim.dsp.period_marks import NEW_NOTE, SHORTEST, best_period, periods_in
from chainsim.dsp.real_fft import inverse_real_fft, real_fft
from chainsim.kernel import kernel
from chainsim.units import Array, Audio

Counts: TypeAlias = npt.NDArray[np.int64]

POINTS_A_HARMONIC = 4
"""Of a voice's table: with so many a cubic is read between them to -70 dB."""

ALIKE_FROM, ALIKE_TO = 0.3, 0.6
"""Likeness of two periods below which nothing is shifted, and from which all is."""

KNOWN_HZ, PACE, NEXT_PACE = 3, 4, 5


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
    last_pace = marks[PACE]
    marks[0], marks[1], marks[PACE] = marks[1], marks[2], marks[NEXT_PACE]
    counts[1] = 1 - counts[1]
    which = 1 - counts[1]
    sounding = counts[2] >> 1
    wanted = rate_hz / f0_hz if f0_hz > 0.0 else 0.0
    weight = 0.0
    last = 1.0 / marks[PACE]
    period, span = last, periods_in(last, longest, rate_hz) * last
    if SHORTEST <= wanted <= longest:
        if sounding == 0 or abs(wanted - last) <= NEW_NOTE * last:
            counts[4] = -1
        elif counts[4] < 0:
            counts[4] = newest
        doubtful = counts[4] >= 0 and newest - counts[4] < newest - u
        period, span, alike = best_period(
            line, size, newest, marks[1], wanted, last if doubtful else 0.0, longest, rate_hz, least_window
        )
        weight = min(max((alike - ALIKE_FROM) / (ALIKE_TO - ALIKE_FROM), 0.0), 1.0)
    marks[2], marks[NEXT_PACE] = marks[1] + span, 1.0 / period
    if sounding == 0:
        marks[PACE] = marks[NEXT_PACE]
    # The step of this sample began before the mark.
    unlike = (1.0 - (u - marks[0])) * (last_pace - marks[PACE])
    count = ratios.shape[0]
    for v in range(count):
        if fixed_hz[v] == 0.0:
            phases[v] += ratios[v, i] * unlike
            phases[v] -= math.floor(phases[v])
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
            phases[v] = (u - 1 - marks[1]) * marks[PACE]
            phases[v] -= math.floor(phases[v])
    n = points_for(
        points[count, 1 - which] if sounding != 0 else 16,
        max(1.0 / marks[PACE], span),
        folded.shape[2] - GUARD,
    )
    points[count, which] = n
    for c in range(line.shape[0]):
        fold_two_periods(line[c], size, marks[1] - 1.0 / marks[PACE], marks[1], marks[1] + period, n, one)
        if sounding != 0 and n == points[count, 1 - which]:
            settle(one, mean[c], n, math.exp(-span / (SETTLING_S * rate_hz)))
        mean[c, :n] = one[:n]
        keep_table(one, n, weight, folded[c, which])
        re, im, strength = spectrum[0], spectrum[1], spectrum[2]
        real_fft(one, n, tw, work, re, im)
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
            voice_re, voice_im = spectrum[3], spectrum[4]
            move_strengths(strength, harmonics, parity, power, spacing, most, voice_re)
            if fixed_hz[v] > 0.0:
                voice_im[: most + 1] = 0.0
                disperse(voice_re, voice_im, most, DISPERSION)
            else:
                lend_phases(re, im, strength, harmonics, spacing, most, voice_re, voice_im)
                curve = dispersion(ratio)
                if curve > 0.0:
                    disperse(voice_re, voice_im, most, curve)
            for k in range(most + 1, m // 2 + 1):
                voice_re[k], voice_im[k] = 0.0, 0.0
            inverse_real_fft(voice_re, voice_im, m, tw, work, one)
            keep_table(one, m, 2.0 * weight / n, tables[v, c, which])
            points[v, which] = m
