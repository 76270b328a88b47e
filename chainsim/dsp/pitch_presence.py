"""Whether a note of the horn sounds now, how loud it is, and when it was attacked.

The horn is what is loud in its own microphone: a note counts while its sound repeats itself and its level is near that
of the player's recent notes. Breath noise fails the first test, a bass from across the stage the second, and so does a
note that has rung down to where no one hears it. Where the rests are quiet, softer notes count too: nobody else is
heard then. What lies far below the register in which the horn has played has to be louder, for it may be the bass.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from chainsim.dsp.pitch_rows import SILENT_DB
from chainsim.kernel import kernel
from chainsim.units import Array

WINDOW_HOPS = 5
"""Levels are measured over so many hops, some 10 ms, ..."""

LONGEST_WINDOW_HOPS = 13
"""... or over one period of a lower note, up to so many: else each of its pulses would be an attack."""

WINDOW_SHRINKS_HOPS = 0.1
"""How fast the window shrinks again, per hop."""

HISTORY = 64
"""How many hops of levels are kept."""

EXPECTED_DB = -30.0
"""How loud notes are taken to be before the first one has counted."""

LEAST_EXPECTED_DB = -66.0
"""The expectation sinks no lower: quieter sound is no note of a horn close to its microphone."""

SINKING_DB_PER_S = 1.5
"""How fast the expectation sinks while nothing as loud is heard, ..."""

FIRST_SINKING_DB_PER_S = 40.0
"""... and how fast while there are notes and none of them has counted yet: a take may be recorded softly."""

NEAR_DB = -23.5
"""From this level relative to the expectation on a note in the horn's register counts, whatever goes on around it."""

SOFT_DB = -36.0
"""From this level on it counts if rests are quiet: `OVER_REST_DB` under it, or more."""

OVER_REST_DB = 12.0

STRANGE_DB = -14.0
"""The level from which a note counts that lies below the horn's register, whatever goes on around it."""

BASS_HZ = 80.0
"""Where the range of pitches begins above this, no bass is taken for the horn: a note below its register then counts,
too, if it is `LEAP_OVER_REST_DB` over what is heard in rests."""

LEAP_OVER_REST_DB = 18.0

BELOW_CENTS = 500.0
"""The register reaches so far below the lowest note of late."""

REGISTER_RISES_CENTS_PER_S = 500.0
"""How fast the lowest note is forgotten while higher ones are played."""

NOBODY = 1e4
"""Stands for the lowest note, in cents, while none has counted."""

STAYS_DB = 3.0
"""How far a note that counts may sink under what let it count."""

REST_FALLS_DB_PER_S = 60.0
"""How fast what is held as the loudest of the rests sinks."""

DELAY_HOPS = 40
"""Rests are heard so much later, so that a note that begins is not taken for a loud rest, ..."""

RINGS_HOPS = 30
"""... and from so long after a note on, when it has rung down."""

OPENS_STRENGTH = 0.5
"""Strength of the repetition from which a note counts, ..."""

CLOSES_STRENGTH = 0.45
"""... and under which it no longer does."""

CALM = 0.35
"""Share by which the strength that is judged follows the newest, per hop."""

RISE_DB = 6.0
"""An attack is a rise of the level by so much over the least of the last `LOOK_BACK` hops."""

LOOK_BACK = 20

DIP_DB = 3.0
"""Soon after an attack another one needs a dip of the level before it; a slow attack has none."""

REST_HOPS = 25
"""Hops after an attack in which none begins."""

FALL_DB = 3.0
"""A level that falls faster than this in five hops is a note that ends: its pitch is held."""


@kernel
def level_db(power: float) -> float:
    """Level of a mean square, at least `SILENT_DB`."""
    return max(10.0 * math.log10(power + 1e-13), SILENT_DB)


@kernel
def window_hops(f0_hz: float, hop_s: float, before: float) -> float:
    """How many hops make a window for a note of this pitch (0: unknown); `before` is what they were a hop ago.

    It shrinks slowly, so that a moment's wrong pitch does not let the pulses of a low note through.
    """
    wanted = WINDOW_HOPS if f0_hz <= 0.0 else 1.0 / (f0_hz * hop_s)
    return max(min(max(wanted, WINDOW_HOPS), LONGEST_WINDOW_HOPS), before - WINDOW_SHRINKS_HOPS)


@kernel
def window_mean(powers: Array, head: int, hops: int) -> float:
    """Mean of the newest `hops` entries of a ring whose newest is at `head`."""
    total = 0.0
    for k in range(hops):
        total += powers[head - k if head >= k else head - k + powers.shape[0]]
    return total / hops


@kernel
def trust_of(levels: Array, head: int) -> float:
    """How far the evidence counts: 1, or less while the level falls."""
    before = levels[head - WINDOW_HOPS if head >= WINDOW_HOPS else head - WINDOW_HOPS + levels.shape[0]]
    fallen = before - levels[head]
    return 1.0 if fallen < FALL_DB else max(1.0 - 0.1 * (fallen - FALL_DB), 0.05)


@kernel
def update_presence(
    level: float,
    earlier: float,
    strength: float,
    cents: float,
    probability: float,
    low_hz: float,
    hop_s: float,
    state: Array,
) -> float:
    """Return 1 while a note counts, else 0.

    `earlier` is the level `DELAY_HOPS` ago. `state`: expected level; loudest level of the rests; calm strength; whether
    a note counted before; hops since then; lowest note of late, in cents.
    """
    if strength > 0.8 and level > state[0]:
        state[0] += 0.15 * (level - state[0])
    else:
        sinking = FIRST_SINKING_DB_PER_S if state[5] >= NOBODY and strength > 0.8 else SINKING_DB_PER_S
        state[0] = max(state[0] - sinking * hop_s, LEAST_EXPECTED_DB)
    state[2] += CALM * (strength - state[2])
    near = state[0] + NEAR_DB
    if cents > state[5] - BELOW_CENTS:
        opens = min(max(state[1] + OVER_REST_DB, state[0] + SOFT_DB), near)
    else:
        opens = state[0] + STRANGE_DB
        if low_hz > BASS_HZ:
            opens = min(max(state[1] + LEAP_OVER_REST_DB, state[0] + SOFT_DB), opens)
    if state[3] > 0.0:
        sounds = level > opens - STAYS_DB and state[2] > CLOSES_STRENGTH
    else:
        sounds = level > opens and state[2] > OPENS_STRENGTH
    state[4] = 0.0 if sounds else state[4] + 1.0
    if state[4] > DELAY_HOPS + RINGS_HOPS:
        state[1] = max(earlier, state[1] - REST_FALLS_DB_PER_S * hop_s)
    if sounds and level > near and probability > 0.9 and state[2] > 0.9:
        state[5] = min(state[5] + REGISTER_RISES_CENTS_PER_S * hop_s, cents)
    state[3] = 1.0 if sounds else 0.0
    return 1.0 if sounds else 0.0


@kernel
def attack_age(levels: Array, head: int, expected_db: float, since: npt.NDArray[np.int64]) -> int:
    """Hops since an attack began if it becomes known now, else 0. since[0]: hops since the last one became known."""
    since[0] += 1
    if since[0] < REST_HOPS or levels[head] < expected_db + SOFT_DB:
        return 0
    size = levels.shape[0]
    least, at = levels[head], 0
    for k in range(1, LOOK_BACK):
        v = levels[head - k if head >= k else head - k + size]
        if v < least:
            least, at = v, k
    if levels[head] - least < RISE_DB:
        return 0
    if since[0] < size:
        before = least
        for k in range(at + 1, since[0]):
            before = max(before, levels[head - k if head >= k else head - k + size])
        if before - least < DIP_DB:
            return 0
    since[0] = 0
    begun = at
    for k in range(at, 0, -1):
        if levels[head - k if head >= k else head - k + size] > least + 0.1 * RISE_DB:
            break
        begun = k
    return max(begun - 1, 1)
