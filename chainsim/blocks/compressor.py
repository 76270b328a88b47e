"""Compressor: y[n] = (dry + wet M g[n]) x[n], M the make-up gain, g the compression.

The detector gives a level L in dB: of the running peak over the hold ("peak"), or of the mean square in a triangular
window ("rms"; a sine then reads 3.01 dB lower). The gain computer gives the reduction c in dB that the static curve
asks for, with threshold T, ratio R, knee W [1]:

    c = 0                                          2 (L - T) <= -W
        (1 - 1/R) (L - T + W/2)^2 / (2 W)          2 |L - T| < W                               (1)
        (1 - 1/R) (L - T)                          else

and the ballistics follow it in dB, by one of two times:

    r[n] = c[n] + a (r[n-1] - c[n]),  a = aA where c[n] > r[n-1], else aR                      (2)
    g[n] = 10^(-r[n] / 20)                                                                     (3)

with a = exp(-1 / (tau fs)): attack and release are the times in which the reduction, in dB, does 1 - 1/e of its way,
once the detector knows: a fall reaches it when the hold or the window has gone by.
Of the two smooth detectors of [1] this is the branching one. In the decoupled one the release first has to get through
the attack, so that 100 ms measure 110 after an attack of 10. What speaks for it, that the attack smooths what ripple
the release leaves, isn't needed: the running peak has none for any note whose period is shorter than the hold.

Two channels are turned down together, by the louder one. Below the knee g is exactly 1: the sound passes bit by bit.

References
----------
.. [1] D. Giannoulis, M. Massberg, J. D. Reiss, "Digital Dynamic Range Compressor Design - A Tutorial and Analysis",
   JAES 60(6), 2012, 399-408.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp.envelope import FLUSH, low_cut_coefficient, low_cut_level, running_peak
from chainsim.dsp.sliding import sliding_sum
from chainsim.kernel import kernel
from chainsim.settings import Settings, choice, fixed, level, movable
from chainsim.units import NEPERS_PER_DB, Array, Audio, Counts, ms_to_samples, one_pole_coefficient

SNAP_DB = 1e-6
"""Reduction at which the gain has come back to 1."""


class CompressorSettings(Settings):
    threshold_db: float = movable(-24.0, -96.0, 0.0, "dB", "level of the detector above which it turns down")
    ratio: float = movable(3.0, 1.0, 1000.0, "1", "dB in for each dB out above that; from 100 on it limits", law="log")
    knee_db: float = fixed(6.0, 0.0, 40.0, "dB", "width of the bend around the threshold; 0 is a corner")
    detector: Literal["peak", "rms"] = choice("peak", "what counts as level; for a sine, rms is 3.01 dB lower")
    hold_ms: float = fixed(16.0, 0.0, 200.0, "ms", "how long a crest counts; a period of the lowest note, or it buzzes")
    rms_window_ms: float = fixed(30.0, 1.0, 400.0, "ms", "time over which rms is taken, the middle counting most")
    attack_ms: float = fixed(10.0, 0.1, 500.0, "ms", "time to 1 - 1/e of the way down, in dB")
    release_ms: float = fixed(150.0, 5.0, 5000.0, "ms", "time to 1 - 1/e of the way back, in dB")
    detector_low_cut_hz: float = fixed(
        20.0, 10.0, 2000.0, "Hz", "below this the detector hears less: thumps, low notes"
    )
    make_up_db: float = movable(0.0, -24.0, 48.0, "dB", "gain of what has been compressed", law="gain")
    dry_db: float = level(-math.inf, -96.0, 24.0, "level of the sound as it comes, beside the compressed one")
    wet_db: float = level(0.0, -96.0, 24.0, "level of the compressed sound")

    def idle(self) -> Mapping[str, str]:
        """Name what the detector that was chosen has no use for."""
        unused = "rms_window_ms" if self.detector == "peak" else "hold_ms"
        return {unused: f'beside detector = "{self.detector}"'}


@kernel
def root_mean_square(heard: Array, rings: Array, places: Counts, running: Array, channel: int, level: Array) -> None:
    """Fill `level` (frames,) with the rms of `heard` (frames,) in a triangular window, or keep what is louder there.

    Two sliding means in a row; `heard` is scratch after that. rings (2, W + 1), places (2,) int64 and running (2,) are
    those of one channel; the first channel, 0, overwrites `level`.
    """
    for i in range(heard.shape[0]):
        square = heard[i] * heard[i]
        heard[i] = square if square > FLUSH else 0.0
    sliding_sum(heard, rings[0], places[0:1], running[0:1])
    sliding_sum(heard, rings[1], places[1:2], running[1:2])
    share = 1.0 / (rings.shape[1] - 1.0) ** 2
    for i in range(heard.shape[0]):
        found = math.sqrt(share * heard[i])
        level[i] = found if channel == 0 else max(level[i], found)


@kernel
def compression(
    threshold_db: Array,
    ratio: Array,
    knee_db: float,
    hold: int,
    attack: float,
    release: float,
    z: Array,
    rest: Counts,
    gain: Array,
) -> None:
    """Turn `gain` (frames,), at entry the level, into the gain of equations (1) to (3), on the running peak of it.

    `hold` 0 leaves the level as it is. State: z (3,) = the running peak, its second, r; rest (2,) int64 = what is left
    of the two peaks.
    """
    peak, second, reduction = z[0], z[1], z[2]
    left, second_left = rest[0], rest[1]
    threshold, slope, below = math.nan, 0.0, 0.0
    last_ratio, last_peak, wanted = math.nan, math.nan, 0.0
    last_reduction, found = 0.0, 1.0
    for i in range(gain.shape[0]):
        if threshold_db[i] != threshold or ratio[i] != last_ratio:
            threshold, last_ratio, last_peak = threshold_db[i], ratio[i], math.nan
            slope = 1.0 - 1.0 / last_ratio
            below = math.exp(NEPERS_PER_DB * (threshold - 0.5 * knee_db))
        peak, left, second, second_left = running_peak(gain[i], peak, left, second, second_left, hold)
        if peak != last_peak:
            last_peak, wanted = peak, 0.0
            if peak > below:
                over = math.log(peak) / NEPERS_PER_DB - threshold
                if 2.0 * over >= knee_db:
                    wanted = slope * over
                elif 2.0 * over > -knee_db:
                    wanted = slope * (over + 0.5 * knee_db) ** 2 / (2.0 * knee_db)
        reduction = wanted + (attack if wanted > reduction else release) * (reduction - wanted)
        if wanted == 0.0 and reduction < SNAP_DB:
            reduction = 0.0
        if reduction != last_reduction:
            last_reduction = reduction
            found = math.exp(-NEPERS_PER_DB * reduction)
        gain[i] = found
    z[0], z[1], z[2] = peak, second, reduction
    rest[0], rest[1] = left, second_left


@kernel
def mix_compressed(x: Audio, gain: Array, make_up: Array, dry: Array, wet: Array, y: Audio) -> None:
    """Fill y (channels, frames) with (dry + wet make_up gain) x; all but x and y are rows (frames,)."""
    for c in range(x.shape[0]):
        for i in range(x.shape[1]):
            y[c, i] = (dry[i] + wet[i] * make_up[i] * gain[i]) * x[c, i]


@register("compressor")
class Compressor(Block[CompressorSettings]):
    """Turns loud notes down and so brings soft ones nearer; beside the dry sound it lifts the soft ones alone."""

    has_detector = True
    readings = ("gain",)
    latency_probe = LatencyProbe({"ratio": 1.0})
    source = "D. Giannoulis, M. Massberg, J. D. Reiss, JAES 60(6), 2012, 399-408"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz, heard = self.settings, context.sample_rate_hz, context.channels["detector"]
        self._rms = chosen.detector == "rms"
        self._cut = low_cut_coefficient(min(chosen.detector_low_cut_hz, 0.45 * rate_hz), rate_hz)
        self._hold = 0 if self._rms else round(ms_to_samples(chosen.hold_ms, rate_hz))
        self._attack = one_pole_coefficient(chosen.attack_ms / 1000.0, rate_hz)
        self._release = one_pole_coefficient(chosen.release_ms / 1000.0, rate_hz)
        window = max(1, round(0.5 * ms_to_samples(chosen.rms_window_ms, rate_hz)))
        self._rings = np.zeros((heard, 2, window + 1 if self._rms else 0))
        self._places, self._running = np.zeros((heard, 2), np.int64), np.zeros((heard, 2))
        self._z_cut = np.zeros((heard, 2))
        self._z, self._rest = np.zeros(3), np.zeros(2, np.int64)

    def reset(self) -> None:
        for state in (self._rings, self._places, self._running, self._z_cut, self._z, self._rest):
            state.fill(0)

    def process(self, io: Io) -> None:
        gain, moving = io.readings[0], io.moving
        if self._rms:
            heard = np.empty(io.frames)
            for c in range(io.detector.shape[0]):
                low_cut_level(io.detector[c : c + 1], self._cut, self._z_cut[c : c + 1], heard)
                root_mean_square(heard, self._rings[c], self._places[c], self._running[c], c, gain)
        else:
            low_cut_level(io.detector, self._cut, self._z_cut, gain)
        compression(
            moving.threshold_db, moving.ratio, self.settings.knee_db, self._hold, self._attack, self._release,
            self._z, self._rest, gain,
        )  # fmt: skip
        mix_compressed(io.x, gain, moving.make_up_db, moving.dry_db, moving.wet_db, io.y)
