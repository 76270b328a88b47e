"""The least blocks that use every hook of the engine; registered for tests only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from chainsim.block import Block, Context, Io, register
from chainsim.kernel import kernel
from chainsim.settings import Settings, fixed, level, movable
from chainsim.stage.controllers import CONTROLLER_TYPES


class MovingEchoSettings(Settings):
    time_ms: float = movable(20.0, 1.0, 100.0, "ms", "delay", ramp_ms=5.0)
    feedback: float = movable(0.3, 0.0, 0.9, "1", "gain of the loop")


@kernel
def moving_echo(x, time, feedback, rate_hz, ring, head, y):
    """Linear-interpolated delay with a feedback loop, dry sound beside it."""
    for i in range(x.shape[1]):
        j = head[0]
        d = time[i] * rate_hz / 1000.0
        k = int(d)
        f = d - k
        for c in range(x.shape[0]):
            a = ring[c, (j - k) % ring.shape[1]]
            b = ring[c, (j - k - 1) % ring.shape[1]]
            e = a + f * (b - a)
            y[c, i] = x[c, i] + e
            ring[c, j] = x[c, i] + feedback[i] * e
        head[0] = (j + 1) % ring.shape[1]


@register("test_echo")
class MovingEcho(Block[MovingEchoSettings]):
    """A delay whose time moves."""

    rings = True

    def prepare(self, context: Context) -> None:
        self._rate_hz = context.sample_rate_hz
        longest = context.extremes["time_ms"][1]
        self._ring = np.zeros((context.channels["in"], int(longest * self._rate_hz / 1000.0) + 3))
        self._head = np.zeros(1, np.int64)
        gain = max(context.extremes["feedback"][1], 1e-3)
        self.tail_s = longest / 1000.0 * (1.0 + 90.0 / (-20.0 * np.log10(gain)))

    def reset(self) -> None:
        self._ring.fill(0.0)
        self._head.fill(0)

    def process(self, io: Io) -> None:
        moving_echo(io.x, io.moving.time_ms, io.moving.feedback, self._rate_hz, self._ring, self._head, io.y)


class TestGateSettings(Settings):
    threshold_db: float = level(-30.0, -96.0, 0.0, "opens above")


@kernel
def hard_gate(x, detector, threshold, y, told):
    """Pass where the detector's first channel is over the threshold."""
    for i in range(x.shape[1]):
        told[0, i] = 1.0 if abs(detector[0, i]) > threshold[i] else 0.0
        for c in range(x.shape[0]):
            y[c, i] = told[0, i] * x[c, i]


@register("test_gate")
class HardGate(Block[TestGateSettings]):
    """A gate whose detector may be elsewhere."""

    has_detector = True
    readings = ("open",)

    def process(self, io: Io) -> None:
        hard_gate(io.x, io.detector, io.moving.threshold_db, io.y, io.readings)


class FramesSettings(Settings):
    gain: float = fixed(0.5, 0.0, 2.0, "1", "gain of every frame")


@kernel
def framewise(x, gain, waiting, ready, fill, y):
    """Reverse the order of nothing: gather 480 samples, scale them as one frame, give them out 480 later."""
    size = waiting.shape[1]
    for i in range(x.shape[1]):
        j = fill[0]
        for c in range(x.shape[0]):
            y[c, i] = ready[c, j]
            waiting[c, j] = x[c, i]
        fill[0] = j + 1
        if fill[0] == size:
            for c in range(x.shape[0]):
                for k in range(size):
                    ready[c, k] = gain * waiting[c, k]
            fill[0] = 0


@register("test_frames")
class Frames(Block[FramesSettings]):
    """Works in frames: 480 samples of latency."""

    def prepare(self, context: Context) -> None:
        shape = (context.channels["in"], 480)
        self._waiting, self._ready, self._fill = np.zeros(shape), np.zeros(shape), np.zeros(1, np.int64)
        self.latency_samples = 480.0

    def reset(self) -> None:
        for state in (self._waiting, self._ready, self._fill):
            state.fill(0)

    def process(self, io: Io) -> None:
        framewise(io.x, self.settings.gain, self._waiting, self._ready, self._fill, io.y)


class HissSettings(Settings):
    level_db: float = level(-40.0, -96.0, 0.0, "level of the noise")


@kernel
def add_hiss(x, gain, state, y):
    """Add uniform noise: a 64-bit xorshift, frame by frame, then channel by channel."""
    s = state[0]
    for i in range(x.shape[1]):
        for c in range(x.shape[0]):
            s ^= s << np.uint64(13)
            s ^= s >> np.uint64(7)
            s ^= s << np.uint64(17)
            y[c, i] = x[c, i] + gain[i] * ((s >> np.uint64(11)) * (2.0 / 9007199254740992.0) - 1.0)
    state[0] = s


@register("test_hiss")
class Hiss(Block[HissSettings]):
    """Seeded noise."""

    @classmethod
    def is_seeded(cls, settings: Any) -> bool:
        return True

    def prepare(self, context: Context) -> None:
        self._seed = context.seed | 1
        self._state = np.array([self._seed], np.uint64)

    def reset(self) -> None:
        self._state[0] = self._seed

    def process(self, io: Io) -> None:
        add_hiss(io.x, io.moving.level_db, self._state, io.y)


class HallSettings(Settings):
    decay: float = fixed(0.7, 0.0, 0.95, "1", "gain of the loop")
    wet_db: float = level(-6.0, -96.0, 0.0, "level of the echoes")


@kernel
def two_combs(x, decay, wet, ring, head, y):
    """Two feedback combs of 701 and 997 samples, one a side."""
    right = x.shape[0] - 1
    for i in range(x.shape[1]):
        for c in range(2):
            size = 701 if c == 0 else 997
            j = head[0] % size
            e = ring[c, j]
            v = x[min(c, right), i]
            y[c, i] = v + wet[i] * e
            ring[c, j] = v + decay * e
        head[0] += 1


@register("test_hall")
class Hall(Block[HallSettings]):
    """Mono in, stereo out, with a tail."""

    rings = True

    @classmethod
    def output_channels(cls, settings: Any, channels: Mapping[str, int]) -> int:
        return 2

    def prepare(self, context: Context) -> None:
        self._ring, self._head = np.zeros((2, 997)), np.zeros(1, np.int64)
        passes = 90.0 / (-20.0 * np.log10(max(self.settings.decay, 1e-3)))
        self.tail_s = 997 * (passes + 1.0) / context.sample_rate_hz

    def reset(self) -> None:
        self._ring.fill(0.0)
        self._head.fill(0)

    def process(self, io: Io) -> None:
        two_combs(io.x, self.settings.decay, io.moving.wet_db, self._ring, self._head, io.y)


@kernel
def hop_peak(x, n0, state, y):
    """Peak of each 96 samples of the absolute grid, held through the next 96; state is (peak so far, held)."""
    for i in range(x.shape[1]):
        if (n0 + i) % 96 == 0:
            state[1], state[0] = state[0], 0.0
        state[0] = max(state[0], abs(x[0, i]))
        y[0, i] = state[1]


class HopFollower(Block[Settings]):
    """A follower on a hop grid."""

    type_name = "test_follower"
    rows = ("position",)
    age_samples = 96.0

    def prepare(self, context: Context) -> None:
        self._state = np.zeros(2)

    def reset(self) -> None:
        self._state.fill(0.0)

    def process(self, io: Io) -> None:
        hop_peak(io.x, io.n0, self._state, io.y)


class ToneSettings(Settings):
    level_db: float = level(-20.0, -96.0, 0.0, "level of the tone")


@kernel
def sine(n0, gain, y):
    """Fill y with a sine of a sixteenth of the rate, whatever comes in."""
    for i in range(y.shape[1]):
        for c in range(y.shape[0]):
            y[c, i] = gain[i] * np.sin(2.0 * np.pi * (n0 + i) / 16.0)


@register("test_tone")
class Tone(Block[ToneSettings]):
    """Makes a sound of its own."""

    generates = True

    def process(self, io: Io) -> None:
        sine(io.n0, io.moving.level_db, io.y)


class PulseSettings(Settings):
    level_db: float = level(-20.0, -96.0, 0.0, "level of the clicks")


@kernel
def beat_pulses(x, tempo, gain, last, y):
    """Add a click wherever a new beat begins."""
    for i in range(x.shape[1]):
        beat = np.floor(tempo[1, i] + 1e-9)
        click = gain[i] if beat > last[0] else 0.0
        last[0] = beat
        for c in range(x.shape[0]):
            y[c, i] = x[c, i] + click


@register("test_pulse")
class Pulse(Block[PulseSettings]):
    """Clicks on the beat."""

    control_inputs = ("tempo",)

    def prepare(self, context: Context) -> None:
        self._last = np.full(1, -1.0)

    def reset(self) -> None:
        self._last.fill(-1.0)

    def process(self, io: Io) -> None:
        beat_pulses(io.x, io.control["tempo"], io.moving.level_db, self._last, io.y)


CONTROLLER_TYPES["test_follower"] = HopFollower
