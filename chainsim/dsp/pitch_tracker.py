"""The pitch tracker: streaming, causal, one estimate per hop of about 2 ms.

The sound is cut to where horns speak, then looked at in two bands: lags of long periods at a quarter of the rate, short
ones at the full rate, so that neither costs much and both are exact (`pitch_periods`). The peaks are candidates
(`pitch_candidates`) among which a Bayesian filter decides (`pitch_belief`); another part says whether a note sounds at
all (`pitch_presence`).
"""

from __future__ import annotations

import math

import numpy as np

from chainsim.dsp.biquad import biquad_df2t, low_pass, sections
from chainsim.dsp.pitch_belief import SIZE, believed_hz, update_belief
from chainsim.dsp.pitch_candidates import add_candidates, candidate_arrays, rank_candidates
from chainsim.dsp.pitch_periods import Band, add_products, periodicity, push
from chainsim.dsp.pitch_presence import (
    DELAY_HOPS,
    EXPECTED_DB,
    HISTORY,
    NEAR_DB,
    NOBODY,
    REST_HOPS,
    attack_age,
    level_db,
    trust_of,
    update_presence,
    window_hops,
    window_mean,
)
from chainsim.dsp.pitch_rows import CONFIDENCE, F0_HZ, LEVEL_DB, ONSET_AGE_S, ROWS, SILENT_DB, VOICED
from chainsim.errors import SettingError
from chainsim.kernel import kernel
from chainsim.units import Array, Counts

LOWEST_HZ, HIGHEST_HZ = 25.0, 5000.0
"""Pitches that can be looked for."""

HIGHEST_OF_RATE = 0.2
"""The highest of them relative to the sample rate."""

SILENT = 1e-30
"""Less is nothing, so that no square of it is a subnormal number."""

HOP_S = 0.002
ATTACK_S = 0.01
"""What a horn's attack takes until it sounds: about 10 ms on sampled horns."""

LOW_RATE_HZ = 12_000.0
HIGH_RATE_HZ = 48_000.0
SPLIT_HZ = 550.0
"""Lower pitches are looked for at the low rate."""

OVERLAP = 1.02
"""Either band reaches a little into the other, so that no pitch falls between."""

LOW_WINDOW_S, HIGH_WINDOW_S = 0.009, 0.006
"""Least windows: shorter ones mistake the inside of a period for one."""

CUT_LOW_HZ = 200.0
"""A gentle high pass: a horn's harmonics tell its pitch, and what lies below is mostly bass and drums."""

CUT_HIGH_HZ = 2600.0
"""A low pass of third order: above is mostly breath."""

BRIGHT_HZ = 800.0
"""Whether a note counts is judged by what lies above, after another gentle high pass: there a horn stands out."""


class PitchTracker:
    """Follows the pitch of one horn.

    Parameters
    ----------
    low_hz, high_hz : float
        Range of the pitches to look for.
    sample_rate_hz : float

    Attributes
    ----------
    hop_samples : int
        A new estimate is there after every so many samples, counted from sample 0.
    response_s : float
        Within about so long after its attack the lowest note of the range is known: two periods, a hop, and what the
        attack itself takes until it sounds.

    Raises
    ------
    SettingError
        If the range is upside down, leaves 25 ... 5000 Hz, or is too high for the sample rate.
    """

    def __init__(self, low_hz: float, high_hz: float, sample_rate_hz: float) -> None:
        _check_range(low_hz, high_hz, sample_rate_hz)
        self.low_hz, self.high_hz = float(low_hz), float(high_hz)
        self._step = max(1, round(sample_rate_hz / HIGH_RATE_HZ))
        high_rate_hz = sample_rate_hz / self._step
        self._low_step = max(1, round(high_rate_hz / LOW_RATE_HZ))
        low_rate_hz = high_rate_hz / self._low_step
        low_hop = 4 * max(1, round(HOP_S * low_rate_hz / 4))
        self._high_hop = low_hop * self._low_step
        self.hop_samples = self._high_hop * self._step
        self._hop_s = self.hop_samples / sample_rate_hz
        self.response_s = ATTACK_S + max(2.0 / low_hz, LOW_WINDOW_S + 1.0 / low_hz) + self._hop_s
        low_top_hz, high_bottom_hz = min(high_hz, SPLIT_HZ * OVERLAP), max(low_hz, SPLIT_HZ / OVERLAP)
        self._low = Band(low_rate_hz, low_hz, low_top_hz, low_hop, LOW_WINDOW_S)
        self._high = Band(high_rate_hz, high_bottom_hz, high_hz, self._high_hop, HIGH_WINDOW_S)
        self._ranges = np.array([[low_rate_hz, low_hz, low_top_hz], [high_rate_hz, high_bottom_hz, high_hz]])
        self._cut = _speaking_range(high_hz, sample_rate_hz)
        self._cut_z = np.zeros((1, len(self._cut), 2))
        self._waiting = np.zeros(self._high_hop)
        self._candidates = candidate_arrays()
        self._belief = [np.zeros(SIZE) for _ in range(6)]
        self._counts = np.zeros(3, np.int64)
        self._powers = np.zeros((2, HISTORY))
        self._levels = np.zeros(HISTORY)
        self._presence = np.zeros(6)
        self._sums = np.zeros(4)
        self._since = np.zeros(2, np.int64)
        self._newest = np.zeros(len(ROWS))
        self.reset()

    def reset(self) -> None:
        """Forget what was heard."""
        self._low.reset()
        self._high.reset()
        for state in (self._cut_z, self._waiting, self._powers, self._sums, *self._belief):
            state.fill(0.0)
        self._counts[:] = 0
        self._since[:] = REST_HOPS, 0
        self._levels.fill(SILENT_DB)
        self._presence[:] = EXPECTED_DB, EXPECTED_DB + NEAR_DB, 0.0, 0.0, 0.0, NOBODY
        self._newest[:] = 0.0
        self._newest[LEVEL_DB] = SILENT_DB
        self._begun = False

    def process(self, n0: int, x: Array, rows: Array) -> None:
        """Fill rows (5, frames), as `chainsim.dsp.pitch_rows` names them, from the sound x (frames,) from n0 on."""
        if not self._begun:
            self._counts[0] = n0 % self.hop_samples
            self._begun = True
        y = x[np.newaxis].copy()
        biquad_df2t(self._cut, self._cut_z, y)
        track(
            x,
            y[0],
            self.hop_samples,
            self._step,
            self._low_step,
            self._hop_s,
            self._waiting,
            self._ranges,
            *self._low.arrays(),
            *self._high.arrays(),
            *self._candidates,
            *self._belief,
            self._counts,
            self._sums,
            self._powers,
            self._levels,
            self._presence,
            self._since,
            self._newest,
            rows,
        )


def _check_range(low_hz: float, high_hz: float, sample_rate_hz: float) -> None:
    if not low_hz < high_hz:
        raise SettingError(f"range {low_hz:g} ... {high_hz:g} Hz: the lower end comes first")
    if low_hz < LOWEST_HZ or high_hz > HIGHEST_HZ:
        raise SettingError(f"range {low_hz:g} ... {high_hz:g} Hz, allowed {LOWEST_HZ:g} ... {HIGHEST_HZ:g} Hz")
    if high_hz > HIGHEST_OF_RATE * sample_rate_hz:
        raise SettingError(
            f"range {low_hz:g} ... {high_hz:g} Hz, allowed up to {HIGHEST_OF_RATE * sample_rate_hz:g} Hz"
            f" at a sample rate of {sample_rate_hz:g} Hz"
        )


def _speaking_range(high_hz: float, sample_rate_hz: float) -> Array:
    """Sections of a Butterworth low pass of third order behind a high pass of first order."""
    top_hz = min(max(CUT_HIGH_HZ, 1.2 * high_hz), 0.4 * sample_rate_hz)
    wide, deep = math.tan(math.pi * top_hz / sample_rate_hz), math.tan(math.pi * CUT_LOW_HZ / sample_rate_hz)
    b = np.array([wide, 0.0, -wide]) / ((1.0 + wide) * (1.0 + deep))
    a = np.convolve([1.0, (wide - 1.0) / (1.0 + wide)], [1.0, (deep - 1.0) / (1.0 + deep)])
    return sections([(b, a), low_pass(top_hz, 1.0, sample_rate_hz)])


@kernel
def track(
    x: Array,
    y: Array,
    hop: int,
    step: int,
    low_step: int,
    hop_s: float,
    waiting: Array,
    ranges: Array,
    low_shortest: int,
    low_kept: int,
    low_groups: Counts,
    low_newest: Array,
    low_energy: Array,
    low_products: Array,
    low_at: Counts,
    low_rho: Array,
    low_steady_groups: Counts,
    low_steady_rho: Array,
    high_shortest: int,
    high_kept: int,
    high_groups: Counts,
    high_newest: Array,
    high_energy: Array,
    high_products: Array,
    high_at: Counts,
    high_rho: Array,
    high_steady_groups: Counts,
    high_steady_rho: Array,
    found_cents: Array,
    found_strength: Array,
    found_steady: Array,
    found_rank: Array,
    cents: Array,
    probability: Array,
    strength: Array,
    new_cents: Array,
    new_probability: Array,
    new_strength: Array,
    counts: Counts,
    sums: Array,
    powers: Array,
    levels: Array,
    presence: Array,
    since: Counts,
    newest: Array,
    rows: Array,
) -> None:
    """Track one span. x is the sound, y the same cut to the speaking range; `newest` (5,) is what holds now.

    `counts`: samples of the current hop that have come, pitches believed in, candidates; `sums`: squares of x, and
    of what is bright in y, in this hop; what is dull in y; hops that levels are
    measured over.
    """
    history = levels.shape[0]
    high_hop = hop // step
    low_hop = high_hop // low_step
    dull = 1.0 - math.exp(-2.0 * math.pi * BRIGHT_HZ * hop_s / hop)
    for i in range(x.shape[0]):
        u, v = x[i], y[i]
        sums[2] += dull * (v - sums[2])
        if abs(v) < SILENT:
            v = 0.0
            if abs(sums[2]) < SILENT:
                sums[2] = 0.0
        if abs(u) > SILENT:
            sums[0] += u * u
        sums[1] += (v - sums[2]) ** 2
        counts[0] += 1
        if counts[0] % step == 0:
            waiting[counts[0] // step - 1] = v
        if counts[0] == hop:
            counts[0] = 0
            head = since[1] + 1 if since[1] + 1 < history else 0
            since[1] = head
            powers[0, head], powers[1, head] = sums[0] / hop, sums[1] / hop
            sums[0], sums[1] = 0.0, 0.0
            sums[3] = window_hops(newest[F0_HZ] if newest[VOICED] > 0.0 else 0.0, hop_s, sums[3])
            window = math.ceil(sums[3])
            levels[head] = level_db(window_mean(powers[1], head, window))
            push(waiting, low_step, low_kept, low_newest, low_energy, low_at)
            push(waiting, waiting.shape[0] // high_hop, high_kept, high_newest, high_energy, high_at)
            counts[2] = 0
            if low_rho.shape[0] > 0:
                add_products(low_hop, low_shortest, low_newest, low_products, low_at, low_rho.shape[0])
                periodicity(low_hop, low_shortest, low_groups, low_energy, low_products, low_at, low_rho)
                periodicity(low_hop, low_shortest, low_steady_groups, low_energy, low_products, low_at, low_steady_rho)
                counts[2] = add_candidates(
                    low_rho,
                    low_steady_rho,
                    low_shortest,
                    ranges[0, 0],
                    ranges[0, 1],
                    ranges[0, 2],
                    found_cents,
                    found_strength,
                    found_steady,
                    found_rank,
                    counts[2],
                )
            if high_rho.shape[0] > 0:
                add_products(high_hop, high_shortest, high_newest, high_products, high_at, high_rho.shape[0])
                periodicity(high_hop, high_shortest, high_groups, high_energy, high_products, high_at, high_rho)
                periodicity(
                    high_hop, high_shortest, high_steady_groups, high_energy, high_products, high_at, high_steady_rho
                )
                counts[2] = add_candidates(
                    high_rho,
                    high_steady_rho,
                    high_shortest,
                    ranges[1, 0],
                    ranges[1, 1],
                    ranges[1, 2],
                    found_cents,
                    found_strength,
                    found_steady,
                    found_rank,
                    counts[2],
                )
            rank_candidates(found_cents, found_strength, found_steady, found_rank, counts[2])
            counts[1] = update_belief(
                found_cents,
                found_strength,
                found_rank,
                counts[2],
                trust_of(levels, head),
                cents,
                probability,
                strength,
                counts[1],
                new_cents,
                new_probability,
                new_strength,
            )
            now = strength[0] if counts[1] > 0 else 0.0
            earlier = levels[head - DELAY_HOPS if head >= DELAY_HOPS else head - DELAY_HOPS + history]
            newest[VOICED] = update_presence(
                levels[head], earlier, now, cents[0], probability[0], ranges[0, 1], hop_s, presence
            )
            if counts[1] > 0:
                newest[F0_HZ] = believed_hz(cents[0])
                newest[CONFIDENCE] = probability[0] * now
            newest[LEVEL_DB] = level_db(window_mean(powers[0], head, window))
            newest[ONSET_AGE_S] = attack_age(levels, head, presence[0], since) * hop_s
        for r in range(rows.shape[0]):
            rows[r, i] = newest[r]
        newest[ONSET_AGE_S] = 0.0
