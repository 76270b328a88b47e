"""Frequency divider: a trigger and flip-flops make squares one and two octaves down, as loud as the note.

    u = high pass(mean of the channels),   v = low pass(u),   e = peak envelope of u
    trigger, flip-flops: the squares q2, q4 of v (`chainsim.dsp.frequency_division`)
    w = low pass(high pass((g2 q2 + g4 q4) max(e - T, 0) / 2)),   y = dry x + w                                 (1)

There is no pitch tracker in it, so no latency of one: each octave waits for nothing but the sound's next crossing. The
price is that of the circuit: what swings past zero more often than its pitch, or two notes at once, is divided wrongly.
What the trigger hears is up to its cuts, and how loud the octave is, is not. The high cut has to leave the lowest note
above its harmonics, and all above it is divided rightly, too: half an octave over the lowest note, at most 2 % of the
time of a tenor, trumpet, alto, baritone or trombone is wrong, of two octaves of them as well. For a tenor from 104 to
523 Hz that is 150 Hz; with 300 Hz 4 % of the time is an octave too high, with 600 Hz 27 %; and a cut below the lowest
note lets rumble through in its place. `pitch_shifter` knows the pitch, and takes its time to.

Source: P. Horowitz, W. Hill, The Art of Electronics: Schmitt trigger, flip-flop that divides by two (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from chainsim.block import Block, Context, Copies, Io, LatencyProbe, register
from chainsim.dsp.echo_loop import cut_gain
from chainsim.dsp.envelope import FLUSH, follow_peaks, follower
from chainsim.dsp.frequency_division import divide_frequency, rest
from chainsim.dsp.svf import RESPONSES, TOP, svf_coefficients, svf_ring_samples, svf_sweep
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed, level, movable
from chainsim.units import NEPERS_PER_DB, Array, Audio, db_to_gain

HOLD_MS = 16.0
"""One period of 62.5 Hz: the thresholds do not sag between crests."""

ATTACK_MS = 1.0
OFFSET_CUT_HZ = 20.0
"""While nothing turns a flip-flop over, its square is an offset that sinks with the note: this takes it away."""

FLOOR_DB = 90.0
CUT_RINGS_TO_DB = -20.0
"""How far the low cut rings down before what it rings no longer holds the envelope up."""

HEIGHT = 0.5
"""Of the squares, as a share of the note's crests: about as loud as a horn, whose crests stand above its rms."""

SWING_BELOW = 0.01
"""What the high cut leaves of a note is counted down to this share of its threshold: -40 dB, 10/6 octaves above."""

Q = math.sqrt(0.5)
_LOW, _HIGH = RESPONSES.index("low pass"), RESPONSES.index("high pass")


class FrequencyDividerSettings(Settings):
    low_cut_hz: float = movable(60.0, 20.0, 1000.0, "Hz", "takes what is below this from the trigger: thumps, hum")
    high_cut_hz: float = movable(
        300.0,
        60.0,
        3000.0,
        "Hz",
        "takes what is above this from the trigger, 24 dB an octave; best half an octave above your lowest note",
    )
    hysteresis: float = fixed(
        0.2, 0.0, 0.95, "1", "how far past zero, as a share of the crest, a swing must go before it counts"
    )
    threshold_db: float = fixed(-50.0, -90.0, -10.0, "dB", "level of the note below which the squares are silent")
    release_ms: float = fixed(40.0, 5.0, 1000.0, "ms", "time to 1 - 1/e of the way down when a note ends")
    tone_hz: float = movable(500.0, 40.0, 12_000.0, "Hz", "darkens the squares above this, 12 dB an octave")
    octave_down_db: float = level(
        -6.0, -96.0, 24.0, "level of the square an octave down; at 0 about as loud as the horn"
    )
    two_octaves_down_db: float = level(-math.inf, -96.0, 24.0, "level of the square two octaves down")
    dry_db: float = level(0.0, -96.0, 24.0, "level of the sound as it comes")


@kernel
def sum_of_squares(
    by_two: Array,
    by_four: Array,
    octave: Array,
    two_octaves: Array,
    envelope: Array,
    threshold: float,
    offset_cut: float,
    z: Array,
    voice: Audio,
) -> None:
    """Fill voice (1, frames) with the high-passed sum of equation (1).

    Parameters
    ----------
    by_two, by_four, envelope : ndarray, shape (frames,)
    octave, two_octaves : ndarray, shape (frames,)
        Gains.
    threshold : float >= 0
        T.
    offset_cut : float
        From `cut_gain`.
    z : ndarray, shape (1,)
        State of the high pass, zero at the start.
    voice : ndarray, shape (1, frames)
    """
    s = z[0]
    for i in range(by_two.shape[0]):
        loud = HEIGHT * max(envelope[i] - threshold, 0.0)
        v = loud * (octave[i] * by_two[i] + two_octaves[i] * by_four[i])
        e = v - s
        s += 2.0 * offset_cut * e
        if v == 0.0 and abs(s) < FLUSH:
            s = 0.0
        voice[0, i] = (1.0 - offset_cut) * e
    z[0] = s


@kernel
def add_to_all(x: Audio, dry: Array, voice: Audio, y: Audio) -> None:
    """Fill y (channels, frames) with the dry share of x and one voice (1, frames)."""
    for c in range(x.shape[0]):
        for i in range(x.shape[1]):
            y[c, i] = dry[i] * x[c, i] + voice[0, i]


@register("frequency_divider")
class FrequencyDivider(Block[FrequencyDividerSettings]):
    """Adds rough octaves below the horn, by counting its swings: at once, and sometimes wrong."""

    has_detector = True
    latency_probe = LatencyProbe({"octave_down_db": "off"})
    source = "O. H. Schmitt, J. Sci. Instrum. 15(1), 1938; W. H. Eccles, F. W. Jordan, The Electrician 83, 1919"

    @classmethod
    def copies(cls, settings: Any, extremes: Mapping[str, tuple[float, float]]) -> Copies:
        return "all" if extremes["dry_db"][1] > -math.inf else "nothing"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        self._rate_hz = rate_hz
        self._attack, self._release, self._hold = follower(ATTACK_MS, HOLD_MS, chosen.release_ms, rate_hz)
        self._threshold = db_to_gain(chosen.threshold_db)
        self._offset_cut = cut_gain(OFFSET_CUT_HZ, rate_hz)
        self._z_cuts = np.zeros((4, 1, 2))
        self._z_follow, self._rest = np.zeros((2, 4)), np.zeros((2, 2), np.int64)
        self._z_divide, self._steps = rest()
        self._z_offset = np.zeros(1)
        self.tail_s = self._tail_s(context)

    def _tail_s(self, context: Context) -> float:
        """Upper bound: the low cut rings, the envelope falls to the threshold, and what is left of the voice rings.

        By then the voice has sunk as far as the envelope, or as its own high pass, whichever is slower; a note that
        hardly passes the threshold has not sunk at all.
        """
        chosen, rate_hz = self.settings, self._rate_hz
        if max(context.extremes[n][1] for n in ("octave_down_db", "two_octaves_down_db")) == -math.inf:
            return 0.0
        low_hz, tone_hz = (min(context.extremes[n][0], TOP * rate_hz) for n in ("low_cut_hz", "tone_hz"))
        release_s, offset_s = chosen.release_ms / 1000.0, 1.0 / (2.0 * math.pi * OFFSET_CUT_HZ)
        most = min(-chosen.threshold_db, FLOOR_DB) * NEPERS_PER_DB

        def end_s(falls: float) -> float:
            left = FLOOR_DB * NEPERS_PER_DB - falls * min(1.0, release_s / offset_s)
            tone_samples = svf_ring_samples(tone_hz, Q, rate_hz, -left / NEPERS_PER_DB) if left > 0.0 else 0.0
            return release_s * falls + offset_s * left + tone_samples / rate_hz

        cut_s = svf_ring_samples(low_hz, Q, rate_hz, CUT_RINGS_TO_DB) / rate_hz
        return (HOLD_MS + ATTACK_MS) / 1000.0 + cut_s + max(end_s(0.0), end_s(most))

    def reset(self) -> None:
        for state in (self._z_cuts, self._z_follow, self._rest, self._z_offset):
            state.fill(0)
        self._z_divide[:], self._steps[:] = rest()

    def process(self, io: Io) -> None:
        moving, frames = io.moving, io.frames
        q, a = np.full(frames, Q), np.empty((3, frames))
        heard, cut = np.mean(io.detector, axis=0, keepdims=True), np.empty((1, frames))
        svf_coefficients(moving.low_cut_hz, q, self._rate_hz, a)
        svf_sweep(heard, a, q, _HIGH, 0, self._z_cuts[0], cut)
        loudness, swing, by_two, by_four = np.empty((4, frames))
        self._follow(cut, 0, loudness)
        svf_coefficients(moving.high_cut_hz, q, self._rate_hz, a)
        svf_sweep(cut, a, q, _LOW, 0, self._z_cuts[1], heard)
        svf_sweep(heard, a, q, _LOW, 0, self._z_cuts[2], cut)
        self._follow(cut, 1, swing)
        hysteresis, least = self.settings.hysteresis, self._threshold * SWING_BELOW
        divide_frequency(cut[0], swing, hysteresis, least, self._z_divide, self._steps, by_two, by_four)
        levels = moving.octave_down_db, moving.two_octaves_down_db
        sum_of_squares(
            by_two, by_four, *levels, loudness, self._threshold, self._offset_cut, self._z_offset, heard
        )  # fmt: skip
        svf_coefficients(moving.tone_hz, q, self._rate_hz, a)
        svf_sweep(heard, a, q, _LOW, 0, self._z_cuts[3], cut)
        add_to_all(io.x, moving.dry_db, cut, io.y)

    def _follow(self, x: Audio, which: int, envelope: Array) -> None:
        z, left = self._z_follow[which], self._rest[which]
        follow_peaks(x, self._attack, self._release, self._hold, z, left, envelope)
