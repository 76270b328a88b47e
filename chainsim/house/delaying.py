"""A delay of whole samples for sound that comes in spans."""

from __future__ import annotations

import numpy as np

from chainsim.units import Audio


class DelayLine:
    """Gives back, span by span, what came so many samples before.

    Parameters
    ----------
    channels : int
    samples : int >= 0
    """

    def __init__(self, channels: int, samples: int) -> None:
        self._waiting = np.zeros((channels, samples))

    def process(self, x: Audio) -> Audio:
        """Take a span (channels, frames), return one as long."""
        joined = np.concatenate([self._waiting, x], axis=1)
        self._waiting = joined[:, x.shape[1] :].copy()
        return np.ascontiguousarray(joined[:, : x.shape[1]])
