"""Slow random movement of a player's pitch, level and tone, as rows at the control rate."""

from __future__ import annotations

import numpy as np

from chainsim.units import Array


def wander(random: np.random.Generator, frames: int, knots_per_frame: float) -> Array:
    """Random row of unit variance at its knots, joined by raised cosines; shape (frames,)."""
    knots = random.standard_normal(int(frames * knots_per_frame) + 2)
    place = np.arange(frames) * knots_per_frame
    i = place.astype(np.int64)
    share = 0.5 - 0.5 * np.cos(np.pi * (place - i))
    row: Array = knots[i] + share * (knots[i + 1] - knots[i])
    return row
