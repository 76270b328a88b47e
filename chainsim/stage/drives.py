"""How a controller's 0-to-1 position becomes the value of a movable setting."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from chainsim.kernel import kernel
from chainsim.settings import Spec
from chainsim.units import Array

Curve = Literal["linear", "log", "s"]
CURVES: tuple[Curve, ...] = ("linear", "log", "s")
OFF_DB = -120.0
"""Where a driven level that ends in "off" arrives at silence."""


@dataclass(frozen=True)
class Drive:
    """One setting that a controller moves between two ends.

    Attributes
    ----------
    block, setting : str
        What is moved.
    low, high : float
        Its value at position 0 and at position 1, in the setting's own unit; low may be the larger.
    curve : {"linear", "log", "s"}
        The way between the ends: even, fast at first, or slow at both ends.
    """

    block: str
    setting: str
    low: float
    high: float
    curve: Curve = "linear"

    def ends(self, spec: Spec) -> tuple[float, float]:
        """The two ends in the domain in which the setting travels: dB for levels, logarithm for log laws."""
        if spec.law == "log":
            return math.log(self.low), math.log(self.high)
        return (max(self.low, OFF_DB), max(self.high, OFF_DB)) if spec.law == "gain" else (self.low, self.high)


@kernel
def shape_position(p: Array, curve: int, low: float, high: float, law: int, y: Array) -> None:
    """Fill y with the travelling value at each position p; law 2 turns dB into gains."""
    for i in range(p.shape[0]):
        u = min(max(p[i], 0.0), 1.0)
        if curve == 1:
            u = math.log1p(9.0 * u) / math.log(10.0)
        elif curve == 2:
            u = u * u * (3.0 - 2.0 * u)
        v = low + u * (high - low)
        if law == 2:
            y[i] = 10.0 ** (v / 20.0) if v > OFF_DB else 0.0
        else:
            y[i] = v
