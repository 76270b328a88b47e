"""A figure read from a pair of recordings, with the interval in which it lies; or that it wasn't found."""

from __future__ import annotations

import math
from dataclasses import dataclass

NORMAL_95 = 1.96
"""Half the width of an interval of 95 %, in standard deviations of a normal distribution."""


@dataclass(frozen=True)
class Figure:
    """A value with its interval.

    Attributes
    ----------
    value : float
        NaN where nothing was found.
    low, high : float
        The value lies between them in 19 of 20 recordings with noise of the same kind. What the method itself
        assumes (a linear box, one decay time, one threshold) is not in the interval.
    """

    value: float
    low: float
    high: float

    @classmethod
    def missing(cls) -> Figure:
        """What was not found."""
        return cls(math.nan, math.nan, math.nan)

    @classmethod
    def around(cls, value: float, deviation: float) -> Figure:
        """A value with a standard deviation."""
        half = NORMAL_95 * deviation
        return cls(value, value - half, value + half)

    @property
    def found(self) -> bool:
        """Whether there is a value."""
        return math.isfinite(self.value)

    def scaled(self, factor: float, offset: float = 0.0) -> Figure:
        """The figure in another unit."""
        low, high = sorted((factor * self.low + offset, factor * self.high + offset))
        return Figure(factor * self.value + offset, low, high)

    def widened(self, to: float) -> Figure:
        """The figure with an interval that holds another value, too."""
        return Figure(self.value, min(self.low, to), max(self.high, to))
