"""Notes found in a pitch track as it comes: what a converter beside the horn can know at each sample.

A note begins where an attack was detected (or the pitch became known) once the pitch has lain still for a moment. While
it sounds, the pitch may bend: the note stays while the pitch does not settle elsewhere. It ends, and the next begins,

- at a new attack, as soon as the pitch is known again;
- where the pitch lies flat (little range, little slope) further than `DISPLACED_ST` from the note's own centre (a
  running mean, so that vibrato about a sharp or flat centre is no new note), and outside the note's zone of half a
  semitone plus the hysteresis;
- where it stays outside that zone for longer than half a period of vibrato, flat or swinging (drift); a glide, which
  does neither, goes on being a bend;
- where it leaves the bend range.

A short time without pitch does not end a note. Everything is decided on a grid of the sample counter, so that spans of
any length give the same bits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.dsp.midi_levels import seven_bit_of_level
from chainsim.dsp.note_rows import ATTACK_DB, BREATH, NOTE, OFF_AGE_S, ON_AGE_S, PITCH, SETTLED, SLURRED
from chainsim.dsp.pitch_rows import F0_HZ, LEVEL_DB, ONSET_AGE_S, SILENT_DB, VOICED
from chainsim.kernel import kernel
from chainsim.units import Array, Counts

CONFIRM_S = 0.006
"""How long a pitch must lie flat after an attack."""
FLAT_ST = 0.5
"""Widest range, in semitones, of a pitch that counts as flat: estimates waver in the first periods of a note."""
FLAT_ST_A_S = 3.5
"""Its steepest slope, in semitones a second, by least squares."""
DISPLACED_ST = 0.65
"""More than vibrato of half a semitone about the note's centre, less than a mistuned semitone step."""
NEAR_ST = 0.35
STEP_S = 0.04
"""A pitch that lies flat so soon after it was near the note's centre came by a step, not by a glide."""
GLIDE_SETTLES = 3
"""At the end of a glide it must lie flat so many times longer: a slow glide is flat, too, for a moment."""
DRIFT_S = 0.15
"""Longer than half a period of vibrato at 4 Hz."""
SWING_ST = 0.1
"""How far a pitch must have come back from its turning points to be swinging about a new centre."""
CENTRE_S = 0.25
"""Time constant of the note's centre."""
JUMP_ST = 0.6
"""A step between two estimates that no player slides so fast: believed only when it lasts."""
DROPOUT_S = 0.04
ONSET_REACH_S = 0.1
"""How long before its pitch is known a note may have begun."""
RESTART_S = 0.07
"""Two attacks nearer to each other are one: sixteenths at 210 beats a minute are as far apart."""
ATTACK_S = 0.06
GRID_S = 0.000667
"""Decisions fall on a grid of the sample counter, finer than the millisecond that a message takes on a MIDI cable."""
SEND_S = 0.005
"""Shortest time between two bends or two levels."""
SEND_ST = 0.01

# State in samples and whole numbers, k; -1 stands for "not so".
_NOW, _NOTE, _SOUNDED_AT, _FLAT_AT, _SILENT_AT, _ONSET_AT, _ATTACKED = 0, 1, 2, 3, 4, 5, 6
_BEGAN_AT, _LEFT_AT, _NEAR_AT, _JUMPED_AT, _SENT_AT, _ENDED_AT = 7, 8, 9, 10, 11, 12
_BREATH, _SLURRED, _SETTLED, _FLAT_STEPS, _PULSE_AT = 13, 14, 15, 16, 17
# State in semitones and dB, z.
_F0, _M, _LOW, _HIGH, _CENTRE, _HELD, _SENT_ST = 0, 1, 2, 3, 4, 5, 6
_ATTACK, _COMING, _RISEN, _FALLEN, _SUM, _MOMENT = 7, 8, 9, 10, 11, 12
# Spans in samples.
_CONFIRM, _SETTLE, _DRIFT, _DROPOUT, _REACH, _RESTART = 0, 1, 2, 3, 4, 5
_ATTACK_SPAN, _SEND, _STEP, _GRID = 6, 7, 8, 9


@dataclass(frozen=True)
class NoteRules:
    """How notes are told apart.

    Attributes
    ----------
    a4_hz : float
    hysteresis_cents : float, 0 to 50
        How much further than half a semitone a sounding note bends before it can become the next one by drifting.
    settle_ms : float
        How long a pitch must lie flat to be a new note without an attack.
    bend_range_semitones : float
        A note that bends further becomes another.
    """

    a4_hz: float = 440.0
    hysteresis_cents: float = 20.0
    settle_ms: float = 35.0
    bend_range_semitones: float = 12.0


@kernel
def end_note(ended_at: int, k: Counts, y: Array, i: int, rate_hz: float) -> None:
    """End the sounding note at frame i: it ended at sample `ended_at`."""
    y[OFF_AGE_S, i] = max(k[_NOW] - max(ended_at, k[_BEGAN_AT]), 1) / rate_hz
    k[_ENDED_AT] = max(ended_at, k[_BEGAN_AT])
    k[_NOTE] = -1
    k[_BREATH] = 0


@kernel
def begin_note(note: int, began_at: int, k: Counts, z: Array, y: Array, i: int, rate_hz: float) -> None:
    """Begin a note at frame i: it began at sample `began_at`, but after the one before."""
    k[_BEGAN_AT] = max(began_at, k[_ENDED_AT])
    k[_NOTE] = min(max(note, 0), 127)
    k[_SLURRED], k[_SETTLED], k[_ATTACKED] = 0, 0, 0
    k[_ONSET_AT], k[_LEFT_AT], k[_JUMPED_AT], k[_SILENT_AT] = -1, -1, -1, -1
    z[_CENTRE], z[_HELD], z[_SENT_ST] = z[_M], z[_M], z[_M]
    z[_ATTACK] = z[_COMING]
    k[_SENT_AT], k[_NEAR_AT] = k[_NOW], k[_NOW]
    y[ON_AGE_S, i] = max(k[_NOW] - k[_BEGAN_AT], 1) / rate_hz


@kernel
def lie_flat(anew: int, k: Counts, z: Array) -> None:
    """Take the pitch into the flat stretch that it continues, or begin one anew."""
    m = z[_M]
    low, high = min(z[_LOW], m), max(z[_HIGH], m)
    if anew == 1 or high - low > FLAT_ST:
        low, high = m, m
        k[_FLAT_AT], k[_FLAT_STEPS], z[_SUM], z[_MOMENT] = k[_NOW], 0, 0.0, 0.0
    z[_LOW], z[_HIGH] = low, high
    z[_SUM] += m
    z[_MOMENT] += k[_FLAT_STEPS] * m
    k[_FLAT_STEPS] += 1


@kernel
def slope(k: Counts, z: Array) -> float:
    """Least-squares slope of the flat stretch, in semitones a step of the grid."""
    n = float(k[_FLAT_STEPS])
    return float((z[_MOMENT] - 0.5 * (n - 1.0) * z[_SUM]) * 12.0 / (n * (n * n - 1.0)))


@kernel
def hold_jumps(settle: int, keep: float, k: Counts, z: Array) -> None:
    """Let the note's pitch follow the track, but no jump that does not last; its centre follows the pitch."""
    if abs(z[_M] - z[_HELD]) <= JUMP_ST:
        z[_HELD], k[_JUMPED_AT] = z[_M], -1
    elif k[_JUMPED_AT] < 0:
        k[_JUMPED_AT] = k[_NOW]
    elif k[_NOW] - k[_JUMPED_AT] >= settle:
        z[_HELD], k[_JUMPED_AT] = z[_M], -1
    z[_CENTRE] += keep * (z[_HELD] - z[_CENTRE])


@kernel
def left_for(zone_st: float, steepest: float, spans: Counts, k: Counts, z: Array) -> int:
    """Return the note that the pitch has settled at away from the sounding one, or -1."""
    m, now = z[_M], k[_NOW]
    if abs(m - z[_CENTRE]) <= NEAR_ST:
        k[_NEAR_AT] = now
    if abs(m - k[_NOTE]) <= zone_st:
        k[_LEFT_AT] = -1
        if k[_SETTLED] == 0 and now - k[_FLAT_AT] >= spans[_SETTLE] and abs(slope(k, z)) <= steepest:
            k[_SETTLED] = 1
        return -1
    if k[_LEFT_AT] < 0:
        k[_LEFT_AT] = now
        z[_RISEN], z[_FALLEN] = m, m
    swings = z[_RISEN] - m > SWING_ST and m - z[_FALLEN] > SWING_ST
    z[_RISEN], z[_FALLEN] = max(z[_RISEN], m), min(z[_FALLEN], m)
    middle = 0.5 * (z[_LOW] + z[_HIGH])
    note = -1
    settle = spans[_SETTLE] if k[_FLAT_AT] - k[_NEAR_AT] <= spans[_STEP] else GLIDE_SETTLES * spans[_SETTLE]
    flat = now - k[_FLAT_AT] >= settle and abs(slope(k, z)) <= steepest
    if flat and abs(middle - z[_CENTRE]) > DISPLACED_ST:
        note = math.floor(middle + 0.5)
    elif now - k[_LEFT_AT] >= spans[_DRIFT] and (flat or swings):
        note = math.floor(z[_CENTRE] + 0.5)
    return note


@kernel
def sounding(
    level_db: float,
    zone_st: float,
    range_st: float,
    spans: Counts,
    rate_hz: float,
    k: Counts,
    z: Array,
    y: Array,
    i: int,
) -> None:
    """Decide at frame i, where the pitch is known, whether a note begins."""
    m, now = z[_M], k[_NOW]
    sure = now - k[_FLAT_AT] >= spans[_CONFIRM]
    if k[_NOTE] < 0:
        if sure or now - k[_SOUNDED_AT] >= spans[_SETTLE]:
            began = k[_SOUNDED_AT]
            if k[_ONSET_AT] >= 0 and began - k[_ONSET_AT] <= spans[_REACH]:
                began = min(k[_ONSET_AT], now)
            begin_note(math.floor(m + 0.5), began, k, z, y, i, rate_hz)
    elif k[_ATTACKED] == 1:
        if sure:
            note = k[_NOTE] if abs(m - k[_NOTE]) <= zone_st else math.floor(m + 0.5)
            began = k[_ONSET_AT]
            end_note(began, k, y, i, rate_hz)
            begin_note(note, began, k, z, y, i, rate_hz)
    else:
        step_s = spans[_GRID] / rate_hz
        hold_jumps(spans[_SETTLE], 1.0 - math.exp(-step_s / CENTRE_S), k, z)
        note = left_for(zone_st, FLAT_ST_A_S * step_s, spans, k, z)
        if note < 0 and abs(z[_HELD] - k[_NOTE]) > range_st:
            note = math.floor(z[_HELD] + 0.5)
        if note >= 0 and note != k[_NOTE]:
            began = k[_LEFT_AT] if k[_LEFT_AT] >= 0 else now
            z[_COMING] = level_db
            end_note(began, k, y, i, rate_hz)
            begin_note(note, began, k, z, y, i, rate_hz)
            k[_SLURRED] = 1


@kernel
def decide(
    voiced: float,
    level_db: float,
    zone_st: float,
    range_st: float,
    spans: Counts,
    rate_hz: float,
    k: Counts,
    z: Array,
    y: Array,
    i: int,
) -> None:
    """Take what is known at frame i and let notes begin and end there."""
    now, anew, onset = k[_NOW], 0, k[_PULSE_AT]
    k[_PULSE_AT] = -1
    if onset >= 0 and (k[_NOTE] < 0 or onset - k[_BEGAN_AT] >= spans[_RESTART]):
        k[_ONSET_AT], k[_ATTACKED], z[_COMING] = onset, 1, level_db
        anew = 1
    if voiced > 0.5 and z[_F0] > 0.0:
        if k[_SILENT_AT] >= 0 or k[_SOUNDED_AT] < 0:
            anew = 1
            if k[_NOTE] < 0:
                k[_SOUNDED_AT] = now
                z[_COMING] = level_db if k[_ATTACKED] == 0 else z[_COMING]
        k[_SILENT_AT] = -1
        lie_flat(anew, k, z)
        z[_COMING] = max(z[_COMING], level_db)
        if k[_NOTE] >= 0 and now - k[_BEGAN_AT] < spans[_ATTACK_SPAN]:
            z[_ATTACK] = max(z[_ATTACK], level_db)
        sounding(level_db, zone_st, range_st, spans, rate_hz, k, z, y, i)
    else:
        if k[_SILENT_AT] < 0:
            k[_SILENT_AT] = now
        if k[_NOTE] >= 0 and now - k[_SILENT_AT] >= spans[_DROPOUT]:
            end_note(k[_SILENT_AT] if k[_ATTACKED] == 0 else min(k[_SILENT_AT], k[_ONSET_AT]), k, y, i, rate_hz)
        if k[_NOTE] < 0:
            k[_SOUNDED_AT] = -1
    if k[_NOTE] >= 0 and (now - k[_SENT_AT] >= spans[_SEND] or y[ON_AGE_S, i] > 0.0):
        if abs(z[_HELD] - z[_SENT_ST]) >= SEND_ST:
            z[_SENT_ST], k[_SENT_AT] = z[_HELD], now
        breath = seven_bit_of_level(level_db)
        if breath != k[_BREATH]:
            k[_BREATH], k[_SENT_AT] = breath, now


@kernel
def find_notes(
    rows: Array,
    a4_hz: float,
    zone_st: float,
    range_st: float,
    spans: Counts,
    rate_hz: float,
    k: Counts,
    z: Array,
    y: Array,
) -> None:
    """Fill y (ROWS, frames) from the pitch rows (5, frames); k and z are of `NoteFinder`."""
    for i in range(y.shape[1]):
        now, f0 = k[_NOW], rows[F0_HZ, i]
        y[ON_AGE_S, i], y[OFF_AGE_S, i] = 0.0, 0.0
        if f0 != z[_F0] and f0 > 0.0:
            z[_F0] = f0
            z[_M] = 69.0 + 12.0 * math.log2(f0 / a4_hz)
        if rows[ONSET_AGE_S, i] > 0.0:
            k[_PULSE_AT] = max(now - math.floor(rows[ONSET_AGE_S, i] * rate_hz + 0.5), 0)
        if (now + 1) % spans[_GRID] == 0:
            decide(rows[VOICED, i], rows[LEVEL_DB, i], zone_st, range_st, spans, rate_hz, k, z, y, i)
        y[NOTE, i], y[PITCH, i], y[BREATH, i] = k[_NOTE], z[_SENT_ST], k[_BREATH]
        y[ATTACK_DB, i], y[SLURRED, i], y[SETTLED, i] = z[_ATTACK], k[_SLURRED], k[_SETTLED]
        k[_NOW] = now + 1


class NoteFinder:
    """Finds notes in the pitch rows, span by span.

    Parameters
    ----------
    rules : NoteRules
    sample_rate_hz : float
    """

    def __init__(self, rules: NoteRules, sample_rate_hz: float) -> None:
        self.rules = rules
        self.sample_rate_hz = float(sample_rate_hz)
        lengths_s = (
            CONFIRM_S,
            rules.settle_ms / 1000.0,
            DRIFT_S,
            DROPOUT_S,
            ONSET_REACH_S,
            RESTART_S,
            ATTACK_S,
            SEND_S,
            STEP_S,
            GRID_S,
        )
        self._spans = np.array([max(1, round(s * sample_rate_hz)) for s in lengths_s], np.int64)
        self._k = np.zeros(18, np.int64)
        self._z = np.zeros(13)
        self.reset()

    def reset(self) -> None:
        """Forget everything heard."""
        self._k.fill(-1)
        for name in (_NOW, _ATTACKED, _BREATH, _SLURRED, _SETTLED, _FLAT_STEPS, _ENDED_AT):
            self._k[name] = 0
        self._z.fill(0.0)
        self._z[_ATTACK] = self._z[_COMING] = SILENT_DB

    def process(self, rows: Array, y: Array) -> None:
        """Fill y (ROWS, frames) from the pitch rows (5, frames) that follow those before."""
        rules = self.rules
        zone_st = 0.5 + rules.hysteresis_cents / 100.0
        find_notes(
            rows,
            rules.a4_hz,
            zone_st,
            rules.bend_range_semitones,
            self._spans,
            self.sample_rate_hz,
            self._k,
            self._z,
            y,
        )
