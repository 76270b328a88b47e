"""How loud a venue makes a source, beside its direct sound.

All energies are relative to the direct sound of the same source at 1 m. At a distance r the direct sound has

    1 / r^2                                                                                                   (1)

and what a room of volume V and decay time T gives back, of a source with the directivity factor Q,

    16 pi T / (0.161 Q V) exp(-0.04 r / T) = 312 T / (Q V) exp(-0.04 r / T)                                   (2)

since nothing is reflected to a listener before the direct sound is there: the sound field decays from the moment at
which the sound was made, and of it only what comes after r / c is heard. Without the exponential it is the classical
diffuse field, equal to the direct sound at 0.057 sqrt(Q V / T) metres.

In the open air the ground gives one reflection, which comes along a way of

    sqrt(r^2 + 4 h_source h_ear)                                                                              (3)

Sources: M. Barron and L.-J. Lee, "Energy relations in concert auditoriums. I", J. Acoust. Soc. Am. 84 (1988) 618-628
(equation 2, there as 31200 T / V beside 100 / r^2); H. Kuttruff, Room Acoustics, on the diffuse field; from memory,
derived anew in tests/house.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from chainsim.house.air import SPEED_OF_SOUND_M_S, travel_s

DECAY_TIME_CONSTANTS = 6.0 * math.log(10.0)
"""Time constants of energy in 60 dB."""

GROUND_GAIN = 0.7
"""Of the reflection: paving takes little, but who stands on it scatters about half of the energy. A choice of ours."""
HORN_HEIGHT_M, LOUDSPEAKER_HEIGHT_M, EAR_HEIGHT_M = 1.3, 2.5, 1.2

Source = Literal["horn", "loudspeaker"]


@dataclass(frozen=True)
class Reflected:
    """What comes to one seat of one source beside its direct sound.

    Attributes
    ----------
    energy : float
        Relative to the direct sound at 1 m.
    after_s : float
        From the direct sound to where it begins.
    """

    energy: float
    after_s: float


@dataclass(frozen=True)
class RoomField:
    """A room in which sound spreads evenly, equation (2)."""

    volume_m3: float
    decay_s: float

    def reflected(self, distance_m: float, directivity_db: float) -> Reflected:
        """What the room gives back, which begins with the sound from a wall half a cube's side away."""
        absorption_m2 = 4.0 * DECAY_TIME_CONSTANTS * self.volume_m3 / (SPEED_OF_SOUND_M_S * self.decay_s)
        heard = math.exp(-DECAY_TIME_CONSTANTS * travel_s(distance_m) / self.decay_s)
        energy = 16.0 * math.pi / absorption_m2 * heard / 10.0 ** (directivity_db / 10.0)
        side_m = self.volume_m3 ** (1.0 / 3.0)
        return Reflected(energy, travel_s(math.hypot(distance_m, side_m) - distance_m))


def ground_reflection(distance_m: float, source: Source) -> Reflected:
    """The one reflection of the open air, equation (3)."""
    height_m = HORN_HEIGHT_M if source == "horn" else LOUDSPEAKER_HEIGHT_M
    way_m = math.sqrt(distance_m**2 + 4.0 * height_m * EAR_HEIGHT_M)
    return Reflected((GROUND_GAIN / way_m) ** 2, travel_s(way_m - distance_m))
