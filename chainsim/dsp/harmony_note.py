"""The played note for which an in-key harmony is chosen, and when: at notes, and not at what bends, shakes or slips.

The interval of an in-key harmony depends on the degree that is played. It has to be chosen while the note is young, and
is heard to jump if it is chosen wrong. So what is played is told apart into tones, and a note is chosen once for each.

A tone begins

- with an attack (one that is older than the tone is the tone's own, known late);
- where a pitch is known again after a rest;
- with a step: the pitch lies still further than `NEAR_ST` from the centre (a running mean) of the tone before, and made
  `STEP_SHARE` of its way there, or `STEP_ST`, within `STEP_S`: as slurs do, while bends, vibrato and glissandi don't.

The note nearest to its pitch is chosen as soon as, `commit_ms` after the beginning, the pitch lies still: within
`STILL_ST` for `STILL_S`, or for what `KNOWN_S` leaves of a short `commit_ms`, all of it after the last attack became
known; or for `DOUBTFUL_S` if it lies further than `SURE_ST` from any note, where a vibrato may turn. If it doesn't, a
note is chosen `DEADLINE_COMMITS` times `commit_ms` and `DEADLINE_S` after the beginning: the one nearest to the middle
of a pitch that swings, else to where it is then. Until then the note before goes on, through whole runs of notes
shorter than `commit_ms`. The first note of all, before which there is none, is chosen as soon as its pitch lies still.

After that nothing is chosen anew before the next tone, unless the pitch settles elsewhere (a glissando that stays):
for `SETTLED_S` within `SETTLED_ST`, further than `KEEP` from the note. So bends of up to a second choose nothing.
Moments without a known pitch that are shorter than `REST_S` count for nothing.

All of it is decided on a grid of the sample counter, so that spans of any length give the same bits.
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.pitch_following import KEEP
from chainsim.dsp.pitch_rows import F0_HZ, ONSET_AGE_S, VOICED
from chainsim.kernel import kernel
from chainsim.units import Array, Counts

STILL_S = 0.04
STILL_ST = 0.2
"""Five semitones a second: a common vibrato is faster only in its middle, a scoop of 150 ms nearly to its end."""
KNOWN_S, LEAST_STILL_S = 0.02, 0.015
"""In which an attack is known; the shortest time in which a pitch can be said to lie still."""
SURE_ST = 0.35
DOUBTFUL_S = 0.08
"""A vibrato of 60 cents at 5 Hz stays within `STILL_ST` for 53 ms where it turns."""
NEAR_ST = 0.65
"""More than vibrato of half a semitone about the tone's centre, less than a mistuned semitone."""
STEP_SHARE, STEP_S = 0.4, 0.02
"""So much of the way takes 14 ms at most under a slur, even on the trombone; a bend of 200 ms, up and back as a cosine,
makes 0.31 of its way in `STEP_S`."""
STEP_ST = 1.5
"""And so much within `STEP_S` is faster than any bend: one of two semitones in 100 ms makes 1.2."""
LEFT_SHARE = 0.3
"""Share of the way at which a pitch has left: the step began within `STEP_S` before."""
CENTRE_S = 0.25
"""Time constant of a tone's centre."""
SETTLED_S, SETTLED_ST = 0.5, 0.6
"""A bend of a semitone, up and back as a cosine, stays within `SETTLED_ST` of its top for 0.56 of its time."""
SWINGING_S = 0.2
"""A period of vibrato at 5 Hz."""
DEADLINE_COMMITS, DEADLINE_S = 3.0, 0.06
REST_S = 0.1
GRID_S = 0.001

# State in steps of the grid, k; the first is the sample counter, -1 stands for "none".
_NOW, _STEP_NOW, _NOTE, _BEGAN_AT, _CHOSEN = 0, 1, 2, 3, 4
_SILENT, _ATTACK_AT, _ATTACKED_AT, _KNOWN = 5, 6, 7, 8
# State in Hz and semitones, z; nan for a centre that isn't known yet.
_F0, _M, _CENTRE = 0, 1, 2
# Spans in steps of the grid; the first is such a step in samples.
_GRID, _COMMIT, _DEADLINE, _STILL, _DOUBTFUL = 0, 1, 2, 3, 4
_STEP, _SETTLED, _SWINGING, _REST = 5, 6, 7, 8


@kernel
def resting_at(steps: int, within_st: float, ring: Array, k: Counts) -> float:
    """Return the middle of the last `steps` pitches if they lie within so many semitones, else nan."""
    if k[_KNOWN] < steps:
        return math.nan
    low = high = ring[(k[_KNOWN] - 1) & (ring.shape[0] - 1)]
    for j in range(2, steps + 1):
        m = ring[(k[_KNOWN] - j) & (ring.shape[0] - 1)]
        low, high = min(low, m), max(high, m)
        if high - low > within_st:
            return math.nan
    return float(0.5 * (low + high))


@kernel
def lies_at(ring: Array, spans: Counts, k: Counts) -> float:
    """Return where the pitch lies still, or nan."""
    place = resting_at(spans[_STILL], STILL_ST, ring, k)
    if abs(place - np.floor(place + 0.5)) > SURE_ST:
        place = resting_at(spans[_DOUBTFUL], STILL_ST, ring, k)
    return float(place)


@kernel
def middle_of_swing(ring: Array, spans: Counts, k: Counts) -> float:
    """Return the middle of a pitch that came back to where it was, or the pitch itself if it moves on."""
    m = ring[(k[_KNOWN] - 1) & (ring.shape[0] - 1)]
    low, high, before = m, m, m
    for j in range(2, min(spans[_SWINGING], k[_STEP_NOW] - k[_BEGAN_AT], k[_KNOWN]) + 1):
        before = ring[(k[_KNOWN] - j) & (ring.shape[0] - 1)]
        low, high = min(low, before), max(high, before)
    return float(0.5 * (low + high) if abs(m - before) < 0.5 * (high - low) else m)


@kernel
def stepped_at(place: float, ring: Array, spans: Counts, k: Counts, z: Array) -> int:
    """Return when the newest step on the way from the tone's centre to a place began, or -1 if there was none."""
    away, left = place - z[_CENTRE], -1
    for ago in range(min(spans[_SWINGING], k[_KNOWN])):
        before = ring[(k[_KNOWN] - 1 - ago) & (ring.shape[0] - 1)]
        after = ring[(k[_KNOWN] - 1 - max(ago - spans[_STEP], 0)) & (ring.shape[0] - 1)]
        if (after - before) / away >= min(STEP_SHARE, STEP_ST / abs(away)):
            return int(k[_STEP_NOW] - ago)
        if left < 0 and (before - z[_CENTRE]) / away <= LEFT_SHARE:
            left = ago
        if left >= 0 and ago - left >= spans[_STEP]:
            return -1
    return -1


@kernel
def begin_tone(at: int, centre: float, k: Counts, z: Array) -> None:
    """Begin a tone at a step of the grid."""
    k[_BEGAN_AT], k[_CHOSEN] = at, 0
    z[_CENTRE] = centre


@kernel
def choose(pitch: float, k: Counts, z: Array) -> None:
    """Choose the note nearest to a pitch, for a tone about it."""
    k[_NOTE] = min(max(math.floor(pitch + 0.5), 0), 127)
    k[_CHOSEN] = 1
    z[_CENTRE] = pitch


@kernel
def follow_tone(place: float, keep: float, ring: Array, spans: Counts, k: Counts, z: Array) -> None:
    """Let the tone's centre follow its pitch, or a new tone begin where the pitch has stepped to."""
    m, now = z[_M], k[_STEP_NOW]
    if math.isnan(z[_CENTRE]):
        if not math.isnan(place) and now - k[_BEGAN_AT] >= spans[_STILL]:
            z[_CENTRE] = place
    elif abs(m - z[_CENTRE]) <= NEAR_ST:
        z[_CENTRE] += keep * (m - z[_CENTRE])
    elif abs(place - z[_CENTRE]) > NEAR_ST:
        at = stepped_at(place, ring, spans, k, z)
        if at >= 0:
            begin_tone(at, place, k, z)


@kernel
def decide(voiced: int, keep: float, spans: Counts, ring: Array, k: Counts, z: Array) -> None:
    """Take what is known at one step of the grid, and choose."""
    now, attack = k[_STEP_NOW], k[_ATTACK_AT]
    k[_ATTACK_AT] = -1
    if attack > k[_BEGAN_AT]:
        k[_ATTACKED_AT] = now
        # A tone that is still waiting and lies where it lay doesn't begin anew: a flutter would keep it waiting.
        if k[_CHOSEN] == 1 or not abs(z[_M] - z[_CENTRE]) <= NEAR_ST:
            begin_tone(attack, math.nan, k, z)
    if voiced == 0:
        k[_SILENT] += 1
        return
    if k[_SILENT] >= spans[_REST]:
        k[_KNOWN] = 0
        if k[_BEGAN_AT] < now - k[_SILENT]:
            begin_tone(now, math.nan, k, z)
    k[_SILENT] = 0
    ring[k[_KNOWN] & (ring.shape[0] - 1)] = z[_M]
    k[_KNOWN] += 1
    # Where a tone is as it was, none asks where it lies.
    place = math.nan if k[_CHOSEN] == 1 and abs(z[_M] - z[_CENTRE]) <= NEAR_ST else lies_at(ring, spans, k)
    follow_tone(place, keep, ring, spans, k, z)
    if k[_CHOSEN] == 0:
        since = now - k[_BEGAN_AT]
        waited = k[_NOTE] < 0 or (since >= spans[_COMMIT] and now - k[_ATTACKED_AT] >= spans[_STILL])
        if waited and not math.isnan(place):
            choose(place, k, z)
        elif since >= spans[_DEADLINE]:
            choose(middle_of_swing(ring, spans, k), k, z)
    elif abs(z[_M] - k[_NOTE]) > KEEP:
        settled = resting_at(spans[_SETTLED], SETTLED_ST, ring, k)
        if abs(settled - k[_NOTE]) > KEEP:
            choose(settled, k, z)


@kernel
def choose_notes(
    track: Array,
    a4_hz: float,
    keep: float,
    spans: Counts,
    rate_hz: float,
    ring: Array,
    k: Counts,
    z: Array,
    y: Array,
) -> None:
    """Fill y (frames,) from the pitch rows (5, frames); all else is of `HarmonyNote`."""
    begin, frames = 0, y.shape[0]
    while begin < frames:
        end = min(frames, begin + spans[_GRID] - k[_NOW] % spans[_GRID])
        f0 = 0.0
        for i in range(begin, end):
            if track[F0_HZ, i] > 0.0:
                f0 = track[F0_HZ, i]
            if track[ONSET_AGE_S, i] > 0.0:
                heard = k[_NOW] + i - begin - track[ONSET_AGE_S, i] * rate_hz
                k[_ATTACK_AT] = max(math.floor(heard / spans[_GRID]), 0)
        y[begin:end] = k[_NOTE]
        if f0 > 0.0 and f0 != z[_F0]:
            z[_F0], z[_M] = f0, 69.0 + 12.0 * math.log2(f0 / a4_hz)
        k[_NOW] += end - begin
        if k[_NOW] % spans[_GRID] == 0:
            decide(int(track[VOICED, end - 1] > 0.0 and z[_F0] > 0.0), keep, spans, ring, k, z)
            k[_STEP_NOW] += 1
            y[end - 1] = k[_NOTE]
        begin = end


class HarmonyNote:
    """Chooses the notes that in-key harmonies are taken from, span by span.

    Parameters
    ----------
    commit_ms : float >= 0
        How long after its beginning a tone's note is chosen, if its pitch lies still by then.
    a4_hz, sample_rate_hz : float

    Attributes
    ----------
    response_s : float
        How long a tone is known before its note is chosen.
    """

    def __init__(self, commit_ms: float, a4_hz: float, sample_rate_hz: float) -> None:
        self._a4_hz, self._rate_hz = float(a4_hz), float(sample_rate_hz)
        grid = max(1, round(GRID_S * sample_rate_hz))
        step_s = grid / sample_rate_hz
        commit_s = commit_ms / 1000.0
        self.response_s = max(commit_s - KNOWN_S, LEAST_STILL_S)
        lengths_s = (
            commit_s,
            DEADLINE_COMMITS * commit_s + DEADLINE_S,
            min(self.response_s, STILL_S),
            DOUBTFUL_S,
            STEP_S,
            SETTLED_S,
            SWINGING_S,
            REST_S,
        )
        self._spans = np.array([grid, *(round(s / step_s) for s in lengths_s)], np.int64)
        self._keep = 1.0 - math.exp(-step_s / CENTRE_S)
        self._ring = np.zeros(1 << int(self._spans[_SETTLED]).bit_length())
        self._k, self._z = np.zeros(9, np.int64), np.zeros(3)
        self.reset()

    def reset(self) -> None:
        """Forget everything heard."""
        self._k.fill(0)
        for name in (_NOTE, _BEGAN_AT, _ATTACK_AT, _ATTACKED_AT):
            self._k[name] = -1
        self._z[:] = 0.0, 0.0, math.nan
        self._ring.fill(0.0)

    def process(self, track: Array, y: Array) -> None:
        """Fill y (frames,) with notes, 0 ... 127, or -1 before any is known.

        Parameters
        ----------
        track : ndarray, shape (5, frames)
            Rows of `chainsim.dsp.pitch_rows` that follow those before.
        y : ndarray, shape (frames,)
        """
        choose_notes(track, self._a4_hz, self._keep, self._spans, self._rate_hz, self._ring, self._k, self._z, y)
