"""Drive: gain into a curve that bends, folds or clips, at a multiple of the sample rate, with filters to either side.

    v[n] = A high cut(low cut(x[n])),   w = c(A) curve(v),   y[n] = dry x[n] + wet tone(w[n])                   (1)

A is the drive as a gain, and a curve (`chainsim.dsp.waveshaping`) levels off at 1, which is 0 dBFS. It runs oversampled
(`chainsim.dsp.oversampling`), so that what it adds above half the rate is not folded down, and all that reaches y is
late by the same whole number of samples: dry and wet form no comb, and cancel where the curve is straight. The cuts
and the tone are one-poles, 6 dB an octave; behind a curve with a bias a further one takes the offset away.

The law of c: a sine at `reference_db` leaves with the power it came with, whatever the drive,

    c(A) = R / sqrt(2) / RMS of (curve(A R sin t) less its mean),   R = 10^(reference_db / 20)                 (2)

so for little drive the block does nothing, A c = 1, and for much of it soft notes come up to where loud ones are. While
A moves, each sample gets the c of the A with which it went into the curve. Only an offset that has not been cut yet is
heard then: a bias of 1 and a cue from 0 to 30 dB put a peak 1 dB over those of all drives between.

A sine of 5 kHz driven by 20 dB lies over all its aliases below 18 kHz together, at the worst of its levels, by

                  44.1 kHz: fine   fast    48 kHz: fine   fast    96 kHz: fine   fast
    soft                     125     78             121     77             142     77
    asymmetric               125     73             122     81             140     81
    hard                     101     84             107     82             107     82
    folding                   87     85              80     79             145    150     (dB)

where a folded sound has little fundamental at some levels: below all its harmonics the aliases lie 89 dB. "fine" keeps
harmonics below 18 kHz in the proportions of the curve's Fourier series: of notes up to 2.5 kHz within 0.06 dB, or 0.11
where folded; of folded notes of 5 kHz within 0.43. "fast" is off by four times that.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.dsp.echo_loop import (
    HIGH_CUT_FULL_HZ,
    HIGH_CUT_OFF_HZ,
    LOW_CUT_FULL_HZ,
    LOW_CUT_OFF_HZ,
    echo_tick,
    high_cut_weights,
    low_cut_weights,
)
from chainsim.dsp.envelope import FLUSH
from chainsim.dsp.oversampling import bend_oversampled, make_stages
from chainsim.dsp.waveshaping import ORDERS, SHAPES, curve
from chainsim.kernel import kernel
from chainsim.settings import Settings, choice, fixed, level, movable
from chainsim.units import NEPERS_PER_DB, Array, Audio, Counts, db_to_gain

TIMES = {"fine": 8, "fast": 4}
"""How often the sample rate, at 44.1 and 48 kHz."""

LATENCY_S = 54 / 48_000
"""What both take at 48 kHz. At other rates a quality that takes less waits until then; one that takes more, "fine" at
44.1 kHz with its 54 samples, does not: "fast" takes 52 there."""

LEAST_DRIVE_DB, MOST_DRIVE_DB = -24.0, 48.0
MAKEUP_STEP_DB = 0.1
"""Of the table that begins at `LEAST_DRIVE_DB`."""

FLOOR_DB = 90.0
_PHASES = 1024
"""In half a period, from its lowest to its highest point: over the steepest drive, 251, two to a straight stretch."""


class DriveSettings(Settings):
    shape: Literal["soft", "hard", "asymmetric", "folding"] = choice(
        "soft", "the curve: rounds off, clips, rounds one side sooner (even harmonics too), or folds peaks back"
    )
    drive_db: float = movable(
        15.0, LEAST_DRIVE_DB, MOST_DRIVE_DB, "dB", "gain into the curve, which levels off at 0 dBFS"
    )
    bias: float = fixed(0.5, 0.0, 2.0, "1", "how far from its middle the asymmetric curve works")
    low_cut_hz: float = movable(
        60.0, LOW_CUT_OFF_HZ, 2000.0, "Hz", "thins what is driven below this: less mud; 10 is off"
    )
    high_cut_hz: float = movable(
        HIGH_CUT_OFF_HZ, 500.0, HIGH_CUT_OFF_HZ, "Hz", "darkens what is driven above this: less harsh; 18000 is off"
    )
    tone_hz: float = movable(6000.0, 500.0, HIGH_CUT_OFF_HZ, "Hz", "darkens what comes out above this; 18000 is off")
    reference_db: float = fixed(-13.0, -40.0, 0.0, "dB", "peak of the sine that stays as loud as it came at any drive")
    quality: Literal["fine", "fast"] = choice("fine", "8 times the sample rate, or 4 times, to save time")
    dry_db: float = level(-math.inf, -96.0, 24.0, "level of the sound as it comes")
    wet_db: float = level(0.0, -96.0, 24.0, "level of the driven sound")

    def idle(self) -> Mapping[str, str]:
        without = {} if self.shape == "asymmetric" else {"bias": f'beside shape = "{self.shape}"'}
        return {**super().idle(), **without}


@kernel
def drive_in(
    x: Audio,
    drive_db: Array,
    low_cut_hz: Array,
    high_cut_hz: Array,
    dry: Array,
    held: int,
    sample_rate_hz: float,
    ring: Audio,
    head: Counts,
    z: Array,
    v: Audio,
    y: Audio,
) -> None:
    """Fill v (channels, frames) with what goes into the curve, and y with the dry share of what comes out.

    Parameters
    ----------
    x : ndarray, shape (channels, frames)
    drive_db, low_cut_hz, high_cut_hz, dry : ndarray, shape (frames,)
        Settings; `dry` is a gain.
    held : int
        Samples by which v is held back, so that it comes out of the curve as late as the dry sound.
    sample_rate_hz : float
    ring, head : ndarray, shape (channels, latency + 1) and (1,) of int64
        State: the newest samples, and where the next one goes.
    z : ndarray, shape (channels, 2)
        State of the cuts, zero at the start.
    v, y : ndarray, shape (channels, frames)
    """
    size = ring.shape[1]
    for c in range(x.shape[0]):
        s0, s1, at = z[c, 0], z[c, 1], head[0]
        last_db, last_low, last_high = math.nan, math.nan, math.nan
        pl, bl, kl, rl = 0.0, 0.0, 0.0, 0.0
        ph, bh, kh = 0.0, 0.0, 0.0
        gain = 0.0
        for i in range(x.shape[1]):
            if drive_db[i] != last_db:
                last_db = drive_db[i]
                gain = math.exp(NEPERS_PER_DB * last_db)
            if low_cut_hz[i] != last_low:
                last_low = low_cut_hz[i]
                pl, bl, kl, rl = low_cut_weights(last_low, sample_rate_hz)
            if high_cut_hz[i] != last_high:
                last_high = high_cut_hz[i]
                ph, bh, kh = high_cut_weights(last_high, sample_rate_hz)
            ring[c, at] = x[c, i]
            from_then = at - held
            u, s0, s1 = echo_tick(
                ring[c, from_then if from_then >= 0 else from_then + size], s0, s1, pl, bl, kl, rl, ph, bh, kh
            )
            v[c, i] = gain * u if abs(u) > FLUSH else 0.0
            at = at + 1 if at + 1 < size else 0
            y[c, i] = dry[i] * ring[c, at]
        z[c, 0], z[c, 1] = s0, s1
    head[0] = (head[0] + x.shape[1]) % size


@kernel
def drive_out(
    w: Audio,
    drive_db: Array,
    makeup: Array,
    offset_cut_hz: float,
    tone_hz: Array,
    wet: Array,
    sample_rate_hz: float,
    z: Array,
    y: Audio,
) -> None:
    """Add to y (channels, frames) what has come out of the curve.

    Parameters
    ----------
    w : ndarray, shape (channels, frames)
    drive_db, tone_hz, wet : ndarray, shape (frames,)
        Settings; `wet` is a gain, and the drive is the one with which w went into the curve.
    makeup : ndarray
        From `makeup_table`.
    offset_cut_hz : float
        A low cut, or `LOW_CUT_OFF_HZ` for a curve without an offset.
    sample_rate_hz : float
    z : ndarray, shape (channels, 2)
        State of tone and low cut, zero at the start.
    y : ndarray, shape (channels, frames)
    """
    pl, bl, kl, rl = low_cut_weights(offset_cut_hz, sample_rate_hz)
    for c in range(w.shape[0]):
        s0, s1 = z[c, 0], z[c, 1]
        last_db, last_tone = math.nan, math.nan
        ph, bh, kh = 0.0, 0.0, 0.0
        gain = 0.0
        for i in range(w.shape[1]):
            if drive_db[i] != last_db:
                last_db = drive_db[i]
                place = (last_db - LEAST_DRIVE_DB) / MAKEUP_STEP_DB
                k = min(max(int(place), 0), makeup.shape[0] - 2)
                gain = math.exp(makeup[k] + (place - k) * (makeup[k + 1] - makeup[k]))
            if tone_hz[i] != last_tone:
                last_tone = tone_hz[i]
                ph, bh, kh = high_cut_weights(last_tone, sample_rate_hz)
            bent = w[c, i] if abs(w[c, i]) > FLUSH else 0.0
            u, s0, s1 = echo_tick(gain * bent, s0, s1, pl, bl, kl, rl, ph, bh, kh)
            y[c, i] += wet[i] * u
        z[c, 0], z[c, 1] = s0, s1


@functools.cache
def makeup_table(shape: str, bias: float, reference_db: float) -> Array:
    """Natural logarithm of c in equation (2), from `LEAST_DRIVE_DB` to `MOST_DRIVE_DB` in steps of `MAKEUP_STEP_DB`."""
    drives_db = np.arange(LEAST_DRIVE_DB, MOST_DRIVE_DB + 0.5 * MAKEUP_STEP_DB, MAKEUP_STEP_DB)
    peak = db_to_gain(reference_db)
    sine = peak * np.sin(np.pi * ((np.arange(_PHASES) + 0.5) / _PHASES - 0.5))
    bent = curve(SHAPES.index(shape), bias, 10.0 ** (drives_db[:, None] / 20.0) * sine)
    table: Array = np.log(peak / math.sqrt(2.0) / np.std(bent, axis=1))
    return table


@register("drive")
class Drive(Block[DriveSettings]):
    """Overdrives the horn: warm, torn or folded, at the loudness it came with."""

    latency_probe = LatencyProbe(
        {"drive_db": LEAST_DRIVE_DB, "low_cut_hz": 10.0, "high_cut_hz": HIGH_CUT_OFF_HZ, "tone_hz": HIGH_CUT_OFF_HZ}
    )
    source = "Parker, Zavalishin, Le Bivic, DAFx-16, 2016; Bilbao, Esqueda, Parker, Valimaki, IEEE SPL 24(7), 2017"

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        channels = context.out_channels
        self._rate_hz = rate_hz
        self._shape = SHAPES.index(chosen.shape)
        self._bias = chosen.bias if chosen.shape == "asymmetric" else 0.0
        self._offset_cut_hz = LOW_CUT_FULL_HZ if self._bias > 0.0 else LOW_CUT_OFF_HZ
        self._makeup = makeup_table(chosen.shape, self._bias, chosen.reference_db)
        self._stages, delay = make_stages(TIMES[chosen.quality], ORDERS[self._shape], channels, rate_hz)
        latency = max(delay, round(LATENCY_S * rate_hz))
        self._held = latency - delay
        self._driven_db = np.full(delay, math.nan)
        self.latency_samples = float(latency)
        self.tail_s = latency / rate_hz + ring_s(context, self._offset_cut_hz)
        self._ring = np.zeros((channels, latency + 1))
        self._head = np.zeros(1, np.int64)
        self._z_in, self._z_out = np.zeros((2, channels, 2))

    def reset(self) -> None:
        self._stages.reset()
        self._driven_db.fill(math.nan)
        for state in (self._ring, self._head, self._z_in, self._z_out):
            state.fill(0)

    def process(self, io: Io) -> None:
        moving = io.moving
        v = np.empty_like(io.y)
        drive_in(
            io.x,
            moving.drive_db,
            moving.low_cut_hz,
            moving.high_cut_hz,
            moving.dry_db,
            self._held,
            self._rate_hz,
            self._ring,
            self._head,
            self._z_in,
            v,
            io.y,
        )
        bend_oversampled(self._shape, self._bias, self._stages, v)
        drive_out(
            v,
            self._curve_drive_db(moving.drive_db),
            self._makeup,
            self._offset_cut_hz,
            moving.tone_hz,
            moving.wet_db,
            self._rate_hz,
            self._z_out,
            io.y,
        )

    def _curve_drive_db(self, drive_db: Array) -> Array:
        """The drive as it was when what now leaves the curve went in."""
        if drive_db.size > 0 and np.isnan(self._driven_db[0]):
            self._driven_db.fill(drive_db[0])
        rows = np.concatenate([self._driven_db, drive_db])
        self._driven_db[:] = rows[drive_db.size :]
        return rows[: drive_db.size]


def ring_s(context: Context, offset_cut_hz: float) -> float:
    """Upper bound of how long the one-poles ring, each by itself from full scale, the cuts with the drive behind them.

    A driven sound is at its top whether its filters add a little or not: what they add is heard so much longer.
    """
    over_db = max(context.extremes["drive_db"][1], 0.0)
    low_hz, high_hz, tone_hz = (context.extremes[n] for n in ("low_cut_hz", "high_cut_hz", "tone_hz"))
    cuts = [low_hz[0]] if low_hz[1] > LOW_CUT_OFF_HZ else []
    found = sum((FLOOR_DB + over_db) / _decay_db_per_s(hz) for hz in [*cuts, min(high_hz[0], HIGH_CUT_FULL_HZ)])
    after = [offset_cut_hz] if offset_cut_hz > LOW_CUT_OFF_HZ else []
    return found + sum(FLOOR_DB / _decay_db_per_s(hz) for hz in [*after, min(tone_hz[0], HIGH_CUT_FULL_HZ)])


def _decay_db_per_s(cutoff_hz: float) -> float:
    return 2.0 * math.pi * cutoff_hz / NEPERS_PER_DB
