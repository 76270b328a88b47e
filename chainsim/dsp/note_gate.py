"""When a voice that follows a pitch track begins, goes on and ends.

A note begins when a pitch becomes known in silence, or when a new attack becomes known while one sounds. It goes on
while the pitch is known, and while it is not, until a new attack comes, whose pitch isn't known yet, or the level has
fallen so far that this is a rest and no doubt about the pitch.
"""

from __future__ import annotations

from chainsim.dsp.pitch_rows import F0_HZ, LEVEL_DB, ONSET_AGE_S, VOICED
from chainsim.kernel import kernel
from chainsim.units import Array

REST_DB = 12.0
"""A level so far under that of the last known pitch is a rest."""

REST_FLOOR_DB = -60.0
"""And so is any level under this."""


@kernel
def follow_notes(
    track: Array, hold: int, sample_rate_hz: float, z: Array, start: Array, sounding: Array, open_: Array
) -> None:
    """Fill the rows of a voice's life.

    Parameters
    ----------
    track : ndarray, shape (5, frames)
        Rows of `chainsim.dsp.pitch_rows`.
    hold : int
        1 if the voice sounds on while its note goes on but the pitch is unsure.
    sample_rate_hz : float
    z : ndarray, shape (4,)
        State, zero at the start: whether a note goes on, seconds since it began, level when its pitch was last known,
        and whether an attack of unknown pitch has cut it off.
    start, sounding, open_ : ndarray, shape (frames,)
        1 where a note begins anew; while it goes on; while the voice is to be heard. Else 0, or -1 in `open_` after an
        attack of unknown pitch.
    """
    alive, since_s, level_db, cut = z[0], z[1], z[2], z[3]
    step_s = 1.0 / sample_rate_hz
    for i in range(track.shape[1]):
        voiced = track[VOICED, i] > 0.0 and track[F0_HZ, i] > 0.0
        age_s = track[ONSET_AGE_S, i]
        start[i] = 0.0
        since_s += step_s
        if voiced:
            if alive == 0.0:
                start[i], since_s = 1.0, 0.0
            elif 0.0 < age_s < since_s:
                # An attack that is older than the note is the note's own, known late.
                start[i], since_s = 1.0, age_s
            alive, level_db, cut = 1.0, track[LEVEL_DB, i], 0.0
        elif age_s > 0.0:
            alive, cut = 0.0, 1.0
        elif track[LEVEL_DB, i] < max(level_db - REST_DB, REST_FLOOR_DB):
            alive = 0.0
        sounding[i] = alive
        open_[i] = 1.0 if voiced or (hold == 1 and alive != 0.0) else -cut
    z[0], z[1], z[2], z[3] = alive, since_s, level_db, cut


@kernel
def ramp_towards(open_: Array, up: float, down: float, cut: float, z: Array, y: Array) -> None:
    """Fill y (frames,) with ramps by 3 t^2 - 2 t^3: to 1 where `open_` is 1, to 0 where 0, quickly where -1.

    `up`, `down` and `cut` are steps of t for a sample; state z (1,), zero at the start, is t.
    """
    t = z[0]
    for i in range(y.shape[0]):
        if open_[i] > 0.0:
            t = min(t + up, 1.0)
        else:
            t = max(t - (cut if open_[i] < 0.0 else down), 0.0)
        y[i] = t * t * (3.0 - 2.0 * t)
    z[0] = t
