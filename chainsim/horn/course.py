"""From notes to courses: pitch, level, blowing pressure, breath and tongue, a thousand times a second.

Notes joined by slurs are one gesture: one attack, one release, between them steps of pitch and level that the bore
rounds off, and a short sinking of the tone. Onsets are where a gesture's tone begins, or half-way through a slur.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chainsim.horn.gestures import TimedNote, gestures_of
from chainsim.horn.model import HornModel
from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.wander import wander
from chainsim.units import Array, db_to_gain

CONTROL_RATE_HZ = 1000.0
SILENT_DB = -60.0
"""A tone this far below its own level counts as unvoiced."""

_VIBRATO_WAIT_S, _VIBRATO_GROW_S, _VIBRATO_LEAST_S = 0.2, 0.5, 0.45
_DRIFT_CENTS, _TREMBLE_CENTS, _INTONATION_CENTS = 2.6, 1.1, 3.0
_DRIFT_DB, _TREMBLE_DB = 0.8, 0.4
_ROUGH_ATTACK = 2.5
_AIR_LEAD_S = 0.03
_TONE_LAG_S = 0.009
_INHALE_S, _INHALE_REST_S, _INHALE_DB = 0.42, 0.55, -43.0
_RELEASE_S, _LAST_RELEASE_S = 0.04, 0.11
_FALL_DB = 18.0


@dataclass
class Course:
    """Rows of shape (frames,) at `CONTROL_RATE_HZ`; gains are amplitudes against the loudest tone."""

    pitch: Array
    voiced: npt.NDArray[np.bool_]
    gain: Array
    pressure: Array
    breath: Array
    tongue: Array
    keys: Array
    growl: Array
    flutter: Array
    roughness: Array
    bore_from: npt.NDArray[np.int64]
    bore_to: npt.NDArray[np.int64]
    bore_share: Array
    fingerings: tuple[int, ...]
    notes: tuple[tuple[float, float, Note], ...]


def course_of(
    phrase: Phrase, horn: HornModel, lead_s: float, tail_s: float, unsteadiness: float, random: np.random.Generator
) -> Course:
    """Play a phrase without sounding it yet."""
    frames = math.ceil((lead_s + phrase.duration_s + tail_s) * CONTROL_RATE_HZ) + 1
    gestures = gestures_of(phrase, lead_s, unsteadiness, random)
    fingerings = tuple(sorted({round(p) for g in gestures for n in g for p in _pitches_of(n.note, n.pitch)}))
    first = gestures[0][0]
    course = Course(
        pitch=np.full(frames, first.pitch + first.note.how.start_cents / 100.0),
        voiced=np.zeros(frames, np.bool_),
        gain=np.zeros(frames),
        pressure=np.zeros(frames),
        breath=np.zeros(frames),
        tongue=np.zeros(frames),
        keys=np.zeros(frames),
        growl=np.zeros(frames),
        flutter=np.zeros(frames),
        roughness=np.zeros(frames),
        bore_from=np.zeros(frames, np.int64),
        bore_to=np.zeros(frames, np.int64),
        bore_share=np.zeros(frames),
        fingerings=fingerings,
        notes=tuple((n.onset_s, n.end_s, n.note) for g in gestures for n in g),
    )
    vibrato = _vibrato(horn, frames, unsteadiness, random)
    silent_since_s = -math.inf
    for gesture, following in zip(gestures, [*gestures[1:], None], strict=True):
        until_s = math.inf if following is None else following[0].onset_s
        _play(course, gesture, horn, until_s, vibrato, unsteadiness, random)
        if gesture[0].onset_s - silent_since_s > _INHALE_REST_S:
            _inhale(course, gesture[0].onset_s, random)
        silent_since_s = gesture[-1].end_s
    drift = wander(random, frames, 1.6 / CONTROL_RATE_HZ), wander(random, frames, 14.0 / CONTROL_RATE_HZ)
    course.pitch += unsteadiness / 100.0 * (_DRIFT_CENTS * drift[0] + _TREMBLE_CENTS * drift[1])
    drift = wander(random, frames, 2.2 / CONTROL_RATE_HZ), wander(random, frames, 16.0 / CONTROL_RATE_HZ)
    course.gain *= 10.0 ** (unsteadiness / 20.0 * (_DRIFT_DB * drift[0] + _TREMBLE_DB * drift[1]))
    return course


def _pitches_of(note: Note, pitch: float) -> tuple[float, ...]:
    return (pitch, pitch + note.how.trill_semitones) if note.how.trill_hz else (pitch,)


def _vibrato(horn: HornModel, frames: int, unsteadiness: float, random: np.random.Generator) -> Array:
    rate_hz = horn.vibrato_hz * (1.0 + 0.05 * unsteadiness * wander(random, frames, 1.0 / CONTROL_RATE_HZ))
    swing: Array = np.sin(2.0 * np.pi * np.cumsum(rate_hz) / CONTROL_RATE_HZ)
    return swing


def _play(
    course: Course,
    gesture: list[TimedNote],
    horn: HornModel,
    until_s: float,
    vibrato: Array,
    unsteadiness: float,
    random: np.random.Generator,
) -> None:
    """Write one gesture into the rows."""
    first, last = gesture[0], gesture[-1]
    release_s = min(_RELEASE_S if until_s - last.end_s < 0.12 else _LAST_RELEASE_S, 0.45 * (last.end_s - last.onset_s))
    tau_s = release_s / 4.0
    begin = max(0, math.floor((first.onset_s - 0.06) * CONTROL_RATE_HZ))
    end = min(course.gain.size, math.ceil((last.end_s + 12.0 * tau_s + 0.05) * CONTROL_RATE_HZ))
    rows = slice(begin, end)
    t = np.arange(begin, end) / CONTROL_RATE_HZ

    pitch, level_db, colour, air_db, growl, flutter = (np.zeros(t.size) for _ in range(6))
    bend, vibrato_depth, dynamic = np.zeros(t.size), np.zeros(t.size), np.zeros(t.size)
    for k, n in enumerate(gesture):
        how, high = n.note.how, n.pitch > horn.high_midi
        here = np.ones(t.size, np.bool_) if k == 0 else t >= n.onset_s
        since = t[here] - n.onset_s
        length_s = n.end_s - n.onset_s
        u = np.clip(since / length_s, 0.0, 1.0)
        swell_to = n.note.dynamic if n.note.swell_to is None else n.note.swell_to
        dynamic[here] = n.note.dynamic + (swell_to - n.note.dynamic) * u
        pitch[here] = n.pitch + unsteadiness * _INTONATION_CENTS / 100.0 * random.standard_normal()
        if how.trill_hz:
            upper = (np.maximum(since, 0.0) * how.trill_hz) % 1.0 >= 0.5
            pitch[here] += np.where(upper & (since < length_s), how.trill_semitones, 0.0)
        level_db[here] = -horn.range_db * (1.0 - dynamic[here]) + how.level_db
        level_db[here] += how.accent_db * (np.exp(-np.maximum(since, 0.0) / 0.085) if k == 0 else 0.0)
        colour[here] = how.brightness * (0.85 if high else 1.0)
        air_db[here] = how.breath_db + (6.0 if high else 0.0)
        growl[here], flutter[here] = how.growl, how.flutter
        more = math.exp(0.5 * unsteadiness * random.standard_normal()) * (2.0 if high else 1.0)
        bend[here] = _bend(since, length_s, n, horn.scoop_cents * more if k == 0 else 0.0)
        if how.end_s and how.end_cents < 0.0:
            level_db[here] -= _FALL_DB * _end_share(since, length_s, how.end_s) ** 1.5
        depth = n.note.vibrato * _smooth((since - _VIBRATO_WAIT_S) / _VIBRATO_GROW_S)
        vibrato_depth[here] = depth if length_s > _VIBRATO_LEAST_S and not how.trill_hz else 0.0

    width = max(3, round(horn.slur_ms * CONTROL_RATE_HZ / 1000.0) | 1)
    pitch = _rounded(pitch, width)
    slow = max(width, 15)
    level_db, colour, air_db, dynamic = (_rounded(row, slow) for row in (level_db, colour, air_db, dynamic))
    vibrato_depth, growl, flutter = (_rounded(row, 61) for row in (vibrato_depth, growl, flutter))

    speak_s = _attack_s(first, horn) * math.exp(0.15 * unsteadiness * random.standard_normal())
    speak_s = min(speak_s, 0.55 * (first.end_s - first.onset_s))
    rise = np.sin(0.5 * np.pi * np.clip((t - first.onset_s) / speak_s, 0.0, 1.0)) ** 2
    x = np.maximum(t - (last.end_s - 4.0 * tau_s), 0.0) / tau_s
    fall = np.where(x < 14.0, (1.0 + x) * np.exp(-x), 0.0)
    shape = rise * fall
    for n in gesture[1:]:
        shape *= db_to_gain_row(horn.slur_dip_db * np.exp(-(((t - n.onset_s) * 1000.0 / horn.slur_ms) ** 2)))
    vibrato_now = vibrato[rows] * vibrato_depth

    loudness = db_to_gain_row(level_db + horn.vibrato_db * vibrato_now)
    gain = shape * loudness
    heard = gain > course.gain[rows]
    course.gain[rows] = np.maximum(course.gain[rows], gain)
    pressure = np.clip(dynamic * colour * _lagged(shape**0.6) * (1.0 + 0.06 * vibrato_now), 0.0, 1.0)
    course.pressure[rows] = np.where(heard, pressure, course.pressure[rows])

    owned = t >= first.onset_s
    held = pitch + (bend + horn.vibrato_cents * vibrato_now) / 100.0
    course.pitch[rows][owned] = held[owned]
    course.pitch[end:] = held[-1]
    audible = (t >= first.onset_s) & ((fall > db_to_gain(SILENT_DB)) | (t < last.end_s))
    course.voiced[rows] = np.where(owned, audible, course.voiced[rows])
    rough = _ROUGH_ATTACK * np.exp(-np.maximum(t - first.onset_s, 0.0) / (0.7 * speak_s))
    course.roughness[rows] = np.where(owned, rough, course.roughness[rows])
    course.growl[rows] = np.where(owned, growl, course.growl[rows])
    course.flutter[rows] = np.where(owned, flutter, course.flutter[rows])

    air = _smooth((t - first.onset_s + _AIR_LEAD_S) / 0.035) * _smooth((last.end_s + 0.03 - t) / 0.05)
    air *= (0.22 + 0.78 * dynamic) * db_to_gain_row(air_db + horn.breath_db)
    course.breath[rows] = np.maximum(course.breath[rows], air)
    _strike(course, gesture, horn, t, rows)
    _finger(course, gesture, rows, width)


def _attack_s(n: TimedNote, horn: HornModel) -> float:
    middle = 0.5 * (horn.low_midi + horn.high_midi)
    seconds = horn.attack_ms / 1000.0 * n.note.how.attack * (1.4 - 0.65 * n.note.dynamic)
    seconds *= 2.0 ** (-(min(n.pitch, horn.high_midi) - middle) / 26.0) * (1.6 if n.pitch > horn.high_midi else 1.0)
    return float(seconds)


def _bend(since: Array, length_s: float, n: TimedNote, speaks_cents: float) -> Array:
    """Cents by which a note is away from its own pitch: while it speaks, and at its end."""
    how = n.note.how
    cents = np.zeros(since.size)
    if how.start_s:
        cents += how.start_cents * (1.0 - _smooth(since / min(how.start_s, 0.6 * length_s)))
    else:
        cents += speaks_cents * np.exp(-np.maximum(since, 0.0) / 0.016)
    if how.end_s:
        cents += how.end_cents * _end_share(since, length_s, how.end_s)
    return cents


def _end_share(since: Array, length_s: float, end_s: float) -> Array:
    takes_s = min(end_s, 0.7 * length_s)
    share: Array = np.clip((since - (length_s - takes_s)) / takes_s, 0.0, 1.0) ** 1.5
    return share


def _strike(course: Course, gesture: list[TimedNote], horn: HornModel, t: Array, rows: slice) -> None:
    """Tongue noise at the first note, key noise at every change of fingering under a slur."""
    how, dynamic = gesture[0].note.how, gesture[0].note.dynamic
    level_db = horn.tongue_db + how.tongue_db + how.level_db - 0.7 * horn.range_db * (1.0 - dynamic)
    course.tongue[rows] += db_to_gain(level_db) * _burst(t - gesture[0].onset_s + 0.003, 0.0015, 0.0065)
    for n in gesture[1:]:
        course.keys[rows] += db_to_gain(horn.key_db) * _burst(t - n.onset_s + 0.002, 0.001, 0.004)


def _burst(since: Array, rise_s: float, decay_s: float) -> Array:
    burst: Array = _smooth(since / rise_s) * np.exp(-np.maximum(since, 0.0) / decay_s)
    return burst


def _finger(course: Course, gesture: list[TimedNote], rows: slice, width: int) -> None:
    """Which bore sounds: rows of the table of fingerings, and the share of the newer one while it changes."""
    begin, end = rows.start, rows.stop
    changes: list[tuple[float, float]] = []
    for n in gesture:
        how = n.note.how
        changes.append((n.onset_s, n.pitch))
        if how.trill_hz:
            half_s = 0.5 / how.trill_hz
            steps = int((n.end_s - n.onset_s) / half_s)
            changes += [(n.onset_s + i * half_s, n.pitch + (i % 2) * how.trill_semitones) for i in range(1, steps + 1)]
    place = {fingering: i for i, fingering in enumerate(course.fingerings)}
    first = round(changes[0][0] * CONTROL_RATE_HZ)
    new = place[round(changes[0][1])]
    course.bore_from[first:], course.bore_to[first:], course.bore_share[first:] = new, new, 0.0
    share = 0.5 - 0.5 * np.cos(np.pi * (np.arange(width) + 1.0) / (width + 1.0))
    for onset_s, pitch in changes[1:]:
        old, new = new, place[round(pitch)]
        at = max(begin, round(onset_s * CONTROL_RATE_HZ) - width // 2)
        stop = min(end, at + width)
        course.bore_from[at:stop], course.bore_to[at:stop], course.bore_share[at:stop] = old, new, share[: stop - at]
        course.bore_from[stop:], course.bore_to[stop:], course.bore_share[stop:] = new, new, 0.0


def _inhale(course: Course, onset_s: float, random: np.random.Generator) -> None:
    """A breath taken before the gesture, now longer, now louder."""
    end = round((onset_s - 0.08) * CONTROL_RATE_HZ)
    begin = max(0, end - round(_INHALE_S * random.uniform(0.6, 1.0) * CONTROL_RATE_HZ))
    level_db = _INHALE_DB + random.uniform(-6.0, 3.0)
    if end - begin > 100:
        hump = np.sin(np.pi * np.linspace(0.0, 1.0, end - begin) ** 1.4) ** 2
        course.tongue[begin:end] += db_to_gain(level_db) * hump


def db_to_gain_row(level_db: Array) -> Array:
    """Amplitude ratios of a row of levels in dB."""
    gain: Array = 10.0 ** (level_db / 20.0)
    return gain


def _smooth(u: Array) -> Array:
    u = np.clip(u, 0.0, 1.0)
    s: Array = u * u * (3.0 - 2.0 * u)
    return s


def _rounded(row: Array, width: int) -> Array:
    """Steps rounded off by a raised cosine `width` frames long."""
    window = np.hanning(width + 2)[1:-1]
    padded = np.pad(row, width // 2, mode="edge")
    rounded: Array = np.convolve(padded, window / window.sum(), mode="valid")
    return rounded[: row.size]


def _lagged(row: Array) -> Array:
    """The row behind a one-pole lag: upper harmonics come later than the tone."""
    from scipy.signal import lfilter

    keep = math.exp(-1.0 / (_TONE_LAG_S * CONTROL_RATE_HZ))
    lagged: Array = lfilter([1.0 - keep], [1.0, -keep], row)
    return lagged
