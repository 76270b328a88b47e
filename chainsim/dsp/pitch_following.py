"""The pitch of a voice that follows a track: smooth between estimates, gliding between notes, snapping to a scale.

In semitones, 69 being A4. Estimates come every few milliseconds. Their small steps are smoothed away; a step of more
than `NOTE_STEP` is faster than any vibrato, so it is a change of note, and is taken at once or, with a glide, as an
offset that dies away while smaller movement, vibrato above all, goes on being followed:

    s: two one-poles after the estimate;  step over NOTE_STEP: s' = s + step, o' = o - step                  (1)
    o[n+1] = g o[n];  h[n+1] = h[n] + min(max(q - s - h, -r), r);  pitch = s + o + h                           (2)

with q the nearest note of the scale, kept until the pitch is `KEEP` away from the note it was taken at.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.dsp.envelope import two_pole_coefficient
from chainsim.dsp.pitch_rows import F0_HZ, VOICED
from chainsim.kernel import kernel
from chainsim.units import Array

NOTE_STEP = 0.3
"""Semitones; a vibrato of a semitone to either side at 7 Hz moves 0.13 in 3 ms."""

KEEP = 0.7
"""Semitones from a note at which the next one is taken instead."""

SMOOTHING_MS = 4.0
"""Time to 1 - 1/e of a small step."""

ARRIVED = 1e-5
"""Semitones from an interval at which a glide to it ends."""

FREE_AGAIN = 12.0
"""Semitones a second at which a snapped pitch returns to the played one when snapping is turned off."""

_LEAST_HZ, _MOST_HZ = 8.0, 20_000.0


def smoothing(sample_rate_hz: float) -> float:
    """Coefficient of the two one-poles."""
    return two_pole_coefficient(SMOOTHING_MS, sample_rate_hz)


@kernel
def glide_coefficient(glide_ms: float, sample_rate_hz: float) -> float:
    """What is left of an offset after a sample if 1/e is left after `glide_ms`; 0 for none."""
    return math.exp(-1000.0 / (glide_ms * sample_rate_hz)) if glide_ms > 0.0 else 0.0


@kernel
def follow_pitch(
    track: Array,
    start: Array,
    glide_ms: Array,
    snap_rate: Array,
    scale: npt.NDArray[np.int64],
    smooth: float,
    a4_hz: float,
    sample_rate_hz: float,
    z: Array,
    pitch: Array,
    note: Array,
) -> None:
    """Fill `pitch` and `note` (frames,) by equations (1) and (2).

    Parameters
    ----------
    track : ndarray, shape (5, frames)
        Rows of `chainsim.dsp.pitch_rows`. The pitch is followed only where it is voiced.
    start : ndarray, shape (frames,)
        1 where a note begins anew: it begins at its own pitch, unless there is a glide.
    glide_ms, snap_rate : ndarray, shape (frames,)
        Time to 1 - 1/e of a glide; cents a second towards the scale, 0 for none.
    scale : ndarray of int64, shape (128,)
        For each note the one to snap to.
    smooth : float
        From `smoothing`.
    a4_hz, sample_rate_hz : float
    z : ndarray, shape (8,)
        State: estimate in Hz, in semitones, first and second one-pole, o, h, nearest note, and whether a new pitch is
        awaited (1). All zero but the last, which is 1, at the start.
    pitch, note : ndarray, shape (frames,)
        Semitones, and the nearest note; 0 and -1 before any pitch is known.
    """
    hz, aim, s1, s2, offset, snapped, nearest, awaited = z[0], z[1], z[2], z[3], z[4], z[5], z[6], z[7]
    last_ms, glide = 0.0, 0.0
    for i in range(track.shape[1]):
        if glide_ms[i] != last_ms:
            last_ms = glide_ms[i]
            glide = glide_coefficient(last_ms, sample_rate_hz)
        if start[i] != 0.0:
            awaited = 1.0
        if track[VOICED, i] > 0.0 and track[F0_HZ, i] > 0.0 and (track[F0_HZ, i] != hz or awaited != 0.0):
            first = hz == 0.0
            hz = track[F0_HZ, i]
            new = 69.0 + 12.0 * math.log2(min(max(hz, _LEAST_HZ), _MOST_HZ) / a4_hz)
            step = new - aim
            aim = new
            if first:
                s1, s2, offset = new, new, 0.0
            elif awaited != 0.0:
                offset = s2 + offset + snapped - new
                s1, s2, snapped = new, new, 0.0
            elif abs(step) > NOTE_STEP:
                s1 += step
                s2 += step
                offset -= step
            if first or awaited != 0.0 or abs(aim - nearest) > KEEP:
                nearest = min(max(math.floor(aim + 0.5), 0.0), 127.0)
            awaited = 0.0
        s1 = aim + smooth * (s1 - aim)
        s2 = s1 + smooth * (s2 - s1)
        offset *= glide
        if abs(offset) < 1e-9:
            offset = 0.0
        if snap_rate[i] > 0.0:
            most = snap_rate[i] / (100.0 * sample_rate_hz)
            snapped += min(max(scale[int(nearest)] - s2 - snapped, -most), most)
        elif snapped != 0.0:
            most = FREE_AGAIN / sample_rate_hz
            snapped += min(max(-snapped, -most), most)
        pitch[i] = s2 + offset + snapped
        note[i] = nearest if hz > 0.0 else -1.0
    z[0], z[1], z[2], z[3], z[4], z[5], z[6], z[7] = hz, aim, s1, s2, offset, snapped, nearest, awaited


@kernel
def pitch_to_hz(pitch: Array, bend: Array, a4_hz: float, y: Array) -> None:
    """Fill y (frames,) with the frequency of `pitch` + `bend` semitones."""
    last, found = math.nan, 0.0
    for i in range(y.shape[0]):
        semitones = pitch[i] + bend[i]
        if semitones != last:
            last = semitones
            found = a4_hz * math.exp((math.log(2.0) / 12.0) * (semitones - 69.0))
        y[i] = found


@kernel
def interval_ratio(
    note: Array,
    intervals: Array,
    glide_ms: Array,
    detune_cents: Array,
    place: float,
    sample_rate_hz: float,
    z: Array,
    y: Array,
) -> None:
    """Fill y (frames,) with the frequency ratio of a voice to the followed pitch.

    Parameters
    ----------
    note : ndarray, shape (frames,)
        The nearest note that was played, 0 ... 127, or -1 before any was.
    intervals : ndarray, shape (128,)
        The voice's distance in semitones for each played note; a change of it glides as the pitch does, but begins at
        the first note's.
    glide_ms, detune_cents : ndarray, shape (frames,)
    place : float
        The voice's share of the detuning.
    sample_rate_hz : float
    z : ndarray, shape (2,)
        State: the distance, and the note it belongs to; nan both at the start.
    """
    distance, last_note = z[0], z[1]
    played, aim, last, found, last_ms, glide = math.nan, 0.0, math.nan, 1.0, 0.0, 0.0
    for i in range(y.shape[0]):
        if note[i] != played:
            played = note[i]
            aim = intervals[int(max(played, 0.0))]
        if distance != aim:
            if glide_ms[i] != last_ms:
                last_ms = glide_ms[i]
                glide = glide_coefficient(last_ms, sample_rate_hz)
            away = glide * (distance - aim)
            distance = aim if math.isnan(last_note) or abs(away) < ARRIVED else aim + away
        if played >= 0.0:
            last_note = played
        semitones = distance + 0.01 * place * detune_cents[i]
        if semitones != last:
            last = semitones
            found = math.exp((math.log(2.0) / 12.0) * semitones)
        y[i] = found
    z[0], z[1] = distance, last_note
