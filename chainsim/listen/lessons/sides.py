"""Where a sound stands between two loudspeakers, and how wide it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chainsim.listen.lessons.excerpt import Heard
from chainsim.units import Array

FRAME_S = 0.1
COUNTING_DB = 30.0
"""Frames that lie further under the loudest do not count."""
LEAST_SHARE = 1e-4
"""Of a frame's power, which a silent side is taken to hold: a sound on one side alone stands 40 dB over there."""
ENDS_PERCENT = (5.0, 50.0, 95.0)
AS_LOUD_DB, ALONE_DB = 0.5, 39.0


@dataclass(frozen=True)
class Place:
    """Where a sound stands.

    Attributes
    ----------
    left_db, middle_db, right_db : float
        Level of the right side over the left, in frames of 0.1 s that sound: what 5 %, a half and 95 % of them do not
        exceed.
    common : float
        What the sides have in common: the middle correlation of the frames, 1 for one channel, 0 for nothing or less.
    """

    left_db: float
    middle_db: float
    right_db: float
    common: float

    @property
    def moves_db(self) -> float:
        """How far it goes to and fro."""
        return self.right_db - self.left_db


def place(heard: Heard) -> Place:
    """Where a sound stands; in the middle if it is mono or silent."""
    if heard.audio.shape[1] != 2:
        return Place(0.0, 0.0, 0.0, 1.0)
    hop = max(1, round(FRAME_S * heard.sample_rate_hz))
    count = heard.audio.shape[0] // hop
    left, right = (heard.audio[: count * hop, side].reshape(count, hop) for side in (0, 1))
    powers = [np.mean(np.square(side), axis=1) for side in (left, right)]
    both = powers[0] + powers[1]
    counts = both > max(0.0, float(np.max(both, initial=0.0))) * 10.0 ** (-COUNTING_DB / 10.0)
    if not counts.any():
        return Place(0.0, 0.0, 0.0, 1.0)
    least = LEAST_SHARE * both[counts]
    balance = 10.0 * np.log10((powers[1][counts] + least) / (powers[0][counts] + least))
    ends = [float(db) for db in np.percentile(balance, ENDS_PERCENT)]
    return Place(ends[0], ends[1], ends[2], _common(left[counts], right[counts]))


def _common(left: Array, right: Array) -> float:
    """The middle correlation of frames; those in which a side is silent tell nothing."""
    norms = np.sqrt(np.sum(np.square(left), axis=1) * np.sum(np.square(right), axis=1))
    there = norms > 0.0
    if not there.any():
        return 1.0
    return max(0.0, float(np.median(np.sum(left * right, axis=1)[there] / norms[there])))


def side_text(balance_db: float) -> str:
    """A balance in words: "3.5 dB louder on the left"."""
    side = "right" if balance_db > 0.0 else "left"
    if abs(balance_db) < AS_LOUD_DB:
        return "as loud on both sides"
    return f"on the {side} alone" if abs(balance_db) >= ALONE_DB else f"{abs(balance_db):.1f} dB louder on the {side}"
