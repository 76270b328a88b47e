"""Radio link: a wireless way from the horn to the rack, with its delay, its band, and moments in which it fails.

The sound is cut to the link's band (Butterworth filters, 12 dB an octave below and 24 dB above), comes later by a
fixed time, which is the block's latency, and drops out now and then (`chainsim.dsp.dropouts`): at times that belong to
the clock and the block's seed, not to what is played. The receiver mutes within a short ramp; with a ramp of 0 ms it
clicks. Its noise, if there is any to hear, is a `noise` block's matter.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from pydantic import model_validator

from chainsim.block import Block, Context, Io, LatencyProbe, register
from chainsim.blocks.equalizer import flushed
from chainsim.dsp.biquad import TOP, biquad_df2t, cascade_ring_samples, high_pass, low_pass, sections
from chainsim.dsp.dropouts import dropouts
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed, level, movable
from chainsim.units import Array, Audio, Counts, ms_to_samples

LOW_CUT_OFF_HZ, HIGH_CUT_OFF_HZ = 10.0, 20_000.0

FOURTH_ORDER = (0.541196, 1.306563)
"""Quality factors of a fourth-order Butterworth filter."""


class RadioLinkSettings(Settings):
    transmission_ms: float = fixed(3.0, 0.0, 50.0, "ms", "time from the transmitter to the receiver; 0 if it is analog")
    low_cut_hz: float = fixed(50.0, LOW_CUT_OFF_HZ, 1000.0, "Hz", "what lies below is not transmitted; 10 is off")
    high_cut_hz: float = fixed(
        15_000.0, 1000.0, HIGH_CUT_OFF_HZ, "Hz", "what lies above is not transmitted; 20000 is off"
    )
    dropouts_per_minute: float = movable(2.0, 0.0, 60.0, "1", "how many dropouts there are in a minute on average")
    dropout_shortest_ms: float = fixed(20.0, 1.0, 1000.0, "ms", "length of the shortest dropouts")
    dropout_longest_ms: float = fixed(120.0, 1.0, 1000.0, "ms", "length of the longest dropouts")
    dropout_db: float = level(-math.inf, -96.0, 0.0, "level that is left in a dropout; off mutes")
    dropout_ramp_ms: float = fixed(2.0, 0.0, 50.0, "ms", "time in which it falls and comes back; at 0 it clicks")

    @model_validator(mode="after")
    def _in_order(self) -> RadioLinkSettings:
        if self.dropout_shortest_ms > self.dropout_longest_ms:
            raise ValueError(
                f"dropout_shortest_ms = {self.dropout_shortest_ms:g} ms, "
                f"allowed up to dropout_longest_ms = {self.dropout_longest_ms:g} ms"
            )
        return self


@kernel
def arrive(gain: Array, ring: Audio, head: Counts, y: Audio) -> None:
    """Delay y (channels, frames) in place by one less than the length of ring (channels, any), then multiply by gain.

    Head, of shape (1,), and ring are zero at the start.
    """
    length = ring.shape[1]
    at = head[0]
    for i in range(y.shape[1]):
        after = at + 1 if at + 1 < length else 0
        for c in range(y.shape[0]):
            ring[c, at] = y[c, i]
            y[c, i] = gain[i] * ring[c, after]
        at = after
    head[0] = at


@register("radio_link")
class RadioLink(Block[RadioLinkSettings]):
    """Sends the sound by radio: a little later, cut to a band, and with dropouts."""

    readings = ("gain",)
    latency_probe = LatencyProbe(
        {"low_cut_hz": LOW_CUT_OFF_HZ, "high_cut_hz": HIGH_CUT_OFF_HZ, "dropouts_per_minute": 0.0}
    )
    source = "Butterworth filters by the bilinear transform; splitmix64 (Steele, Lea, Flood, OOPSLA 2014)"

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return True

    def prepare(self, context: Context) -> None:
        chosen, rate_hz = self.settings, float(context.sample_rate_hz)
        self._rate_hz, self._seed = rate_hz, context.seed
        cuts = []
        if chosen.low_cut_hz > LOW_CUT_OFF_HZ:
            cuts.append(high_pass(chosen.low_cut_hz, math.sqrt(0.5), rate_hz))
        if chosen.high_cut_hz < min(HIGH_CUT_OFF_HZ, TOP * rate_hz):
            cuts += [low_pass(chosen.high_cut_hz, q, rate_hz) for q in FOURTH_ORDER]
        self._cuts = sections(cuts)
        self._z = np.zeros((context.out_channels, len(self._cuts), 2))
        later = round(ms_to_samples(chosen.transmission_ms, rate_hz))
        self._ring, self._head = np.zeros((context.out_channels, later + 1)), np.zeros(1, np.int64)
        self._lengths = [
            ms_to_samples(t, rate_hz)
            for t in (chosen.dropout_shortest_ms, chosen.dropout_longest_ms, chosen.dropout_ramp_ms)
        ]
        self._state = np.zeros(2, np.int64)
        self.latency_samples = float(later)
        tones_hz = np.array([*np.geomspace(20.0, TOP * rate_hz, 16), chosen.low_cut_hz])
        self.tail_s = cascade_ring_samples(self._cuts, tones_hz, rate_hz) / rate_hz

    def reset(self) -> None:
        for state in (self._z, self._ring, self._head, self._state):
            state.fill(0)

    def process(self, io: Io) -> None:
        gain, moving = io.readings[0], io.moving
        flushed(io.x, io.y)
        biquad_df2t(self._cuts, self._z, io.y)
        dropouts(
            io.n0,
            self._seed,
            moving.dropouts_per_minute,
            moving.dropout_db,
            *self._lengths,
            self._rate_hz,
            self._state,
            gain,
        )
        arrive(gain, self._ring, self._head, io.y)
