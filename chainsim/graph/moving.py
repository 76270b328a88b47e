"""Rows of movable settings: a target that cues or a controller give, and how the setting goes there.

    s[n] = t[n] + a (s[n-1] - t[n]),  a = exp(-1/(tau fs))                                                     (1)

in the domain of the setting's law (the value, its logarithm, or a gain); within a ten-millionth of the way the
target itself is taken, so that a setting at rest is exactly what was written and costs nothing.

A level that a cue changes goes there on a straight line instead, as the edges of the graph do, so that a sound which a
patch brings on another way keeps its level in between:

    s[n] = s0 + (s1 - s0) (n - n1) / (tau fs),  n1 <= n < n1 + tau fs                                          (2)
"""

from __future__ import annotations

import bisect
import math

import numpy as np

from chainsim.graph.nodes import Motion, Target
from chainsim.kernel import kernel
from chainsim.stage.drives import CURVES, Drive, shape_position
from chainsim.units import Array, one_pole_coefficient

LIMIT_OF_RATE = 0.45
_LAWS = {"linear": 0, "log": 1, "gain": 2, "step": 3}


@kernel
def follow(target: Array, a: float, law: int, exact: float, aim: float, state: Array, y: Array) -> None:
    """Equation (1): fill y from target (in the law's domain); where state has arrived at `aim`, y is `exact`."""
    s = state[0]
    for i in range(y.shape[0]):
        t = target[i]
        s = t + a * (s - t)
        if abs(s - t) <= 1e-7 * (abs(t) + 1e-3):
            s = t
        if s == aim:
            y[i] = exact
        elif law == 1:
            y[i] = math.exp(s)
        else:
            y[i] = s
    state[0] = s


@kernel
def go_straight(begin: float, aim: float, exact: float, done: int, length: int, state: Array, y: Array) -> None:
    """Equation (2): fill y on the way from begin to aim, of which `done` samples lie behind; then it is `exact`."""
    for i in range(y.shape[0]):
        k = done + i
        y[i] = begin + (aim - begin) * (k / length) if k < length else exact
    if done + y.shape[0] >= length:
        state[0] = aim
    elif y.shape[0] > 0:
        state[0] = y[y.shape[0] - 1]


class MovingRow:
    """One movable setting of one node during a render."""

    def __init__(self, motion: Motion, sample_rate_hz: float, max_frames: int) -> None:
        spec = motion.spec
        self._motion = motion
        self._law = _LAWS[spec.law]
        tau_s = 0.0 if spec.law == "step" else spec.ramp_ms / 1000.0
        self._a = one_pole_coefficient(tau_s, sample_rate_hz)
        self._straight = max(1, round(tau_s * sample_rate_hz))
        self._begun, self._begin, self._aim = 0, 0.0, math.nan
        self._limit = LIMIT_OF_RATE * sample_rate_hz if spec.unit == "Hz" else math.inf
        self._starts = [n for n, _ in motion.targets]
        self._state = np.zeros(1)
        self._constant = math.nan
        self._row = np.empty(max_frames)
        self._target = np.empty(max_frames)
        self._wake = True
        self.limited = min(motion.extremes()[1], math.inf) > self._limit

    def reset(self) -> None:
        """Begin anew at the target, wherever that is."""
        self._wake = True

    def events(self) -> list[int]:
        """Samples at which the target changes."""
        return self._starts

    def target(self, n0: int) -> Target:
        """What the setting follows in the span that begins at n0."""
        return self._motion.targets[max(0, bisect.bisect_right(self._starts, n0) - 1)][1]

    def driven(self, drive: Drive, position: Array, frames: int) -> Array:
        """The values of one span in which a controller, whose row is `position`, drives the setting."""
        low, high = drive.ends(self._motion.spec)
        self._constant = self._aim = math.nan
        target, row = self._target[:frames], self._row[:frames]
        shape_position(position, CURVES.index(drive.curve), low, high, self._law, target)
        if self._limit < math.inf:
            np.minimum(target, math.log(self._limit) if self._law == 1 else self._limit, out=target)
        if frames and self._wake:
            self._state[0], self._wake = target[0], False
        follow(target, self._a, self._law, math.nan, math.nan, self._state, row)
        return row

    def set_to(self, value: float, n0: int, frames: int) -> Array:
        """The values of one span, from sample n0 on, in which the setting goes to `value` and stays there."""
        exact = self._motion.spec.row_value(min(value, self._limit))
        aim = math.log(exact) if self._law == 1 else exact
        if self._wake:
            self._state[0], self._aim, self._wake = aim, math.nan, False
        if self._state[0] == aim:
            if self._constant != exact:
                self._row.fill(exact)
                self._constant = exact
            return self._row[:frames]
        self._constant = math.nan
        row = self._row[:frames]
        if self._motion.spec.law == "gain":
            if self._aim != aim:
                self._begun, self._begin, self._aim = n0, self._on_the_way(n0), aim
            go_straight(self._begin, aim, exact, n0 - self._begun, self._straight, self._state, row)
            return row
        self._target[:frames] = aim
        follow(self._target[:frames], self._a, self._law, exact, aim, self._state, row)
        return row

    def _on_the_way(self, n: int) -> float:
        """Where sample n lies on the straight line to the aim before, or where the setting stands."""
        share = (n - self._begun) / self._straight
        under_way = share < 1.0 and not math.isnan(self._aim)
        return self._begin + (self._aim - self._begin) * share if under_way else float(self._state[0])
