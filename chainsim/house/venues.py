"""Usual figures of venues that have walls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from chainsim.house.sound_field import RoomField


@dataclass(frozen=True)
class Venue:
    """A room as it usually is with people in it.

    Attributes
    ----------
    field : RoomField
    low_ratio, high_ratio : float
        Decay time in the bass (under 250 Hz) and in the treble (over 4 kHz) relative to the middle. In the treble air
        alone leaves a decay time of 1.7 s at 8 kHz (20 degrees, 50 %), which a large room shows most.
    space : str
        The reverb's kind of space that stands for it.
    size : float
        Of that space.
    """

    field: RoomField
    low_ratio: float
    high_ratio: float
    space: Literal["hall", "room"]
    size: float


VENUES = {
    "small club": Venue(RoomField(500.0, 0.6), 1.2, 0.7, "room", 0.7),
    "theatre": Venue(RoomField(5000.0, 1.1), 1.2, 0.6, "hall", 0.7),
    "hall": Venue(RoomField(15000.0, 2.0), 1.15, 0.45, "hall", 1.0),
}
