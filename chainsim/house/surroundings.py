"""What is around the seats of a house: walls, open air, or a real venue's impulse response."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

from chainsim.block import Assets
from chainsim.house.late_field import LateField, Mirror, Reverberation
from chainsim.house.measured_response import DIRECT_S, Convolution, MeasuredResponse
from chainsim.house.sound_field import Reflected, RoomField, Source, ground_reflection
from chainsim.house.venues import VENUES, Venue
from chainsim.sketch.house import House, HouseSettings

STRETCH: dict[Source, float] = {"horn": 1.06, "loudspeaker": 1.0}
"""Of the paths in a room: where the sources stand apart, so do their reflections."""


class Surroundings(Protocol):
    """What gives sound back.

    Attributes
    ----------
    title : str
        In a few words.
    """

    title: str

    def reflected(self, source: Source, distance_m: float) -> Reflected:
        """How much of a source comes to a seat beside its direct sound."""

    def late_field(self, source: Source, distance_m: float, sample_rate_hz: float, channels: int) -> LateField:
        """What makes that sound."""


class Walls:
    """A room."""

    def __init__(self, settings: HouseSettings) -> None:
        usual = VENUES[settings.venue or ""]
        field = RoomField(settings.volume_m3 or usual.field.volume_m3, settings.decay_s or usual.field.decay_s)
        size = usual.size * (field.volume_m3 / usual.field.volume_m3) ** (1.0 / 3.0)
        self._venue: Venue = replace(usual, field=field, size=size)
        self._directivity_db = _directivity_db(settings)
        self.title = f"{settings.venue} ({field.volume_m3:g} m3, decay {field.decay_s:g} s)"

    def reflected(self, source: Source, distance_m: float) -> Reflected:
        return self._venue.field.reflected(distance_m, self._directivity_db[source])

    def late_field(self, source: Source, distance_m: float, sample_rate_hz: float, channels: int) -> LateField:
        return Reverberation(self._venue, sample_rate_hz, channels, STRETCH[source])


class OpenAir:
    """Nothing but the ground."""

    title = "open air (one reflection, from the ground)"

    def reflected(self, source: Source, distance_m: float) -> Reflected:
        return ground_reflection(distance_m, source)

    def late_field(self, source: Source, distance_m: float, sample_rate_hz: float, channels: int) -> LateField:
        return Mirror(distance_m, sample_rate_hz, channels)


class RealVenue:
    """A venue by its impulse response: as loud at every seat, as a diffuse field is."""

    def __init__(self, settings: HouseSettings, assets: Assets, sample_rate_hz: float) -> None:
        name = settings.impulse_response or ""
        self._response = MeasuredResponse(name, settings.impulse_response_m, assets, sample_rate_hz)
        self.title = f"as in {name}, taken at {settings.impulse_response_m:g} m"

    def reflected(self, source: Source, distance_m: float) -> Reflected:
        return Reflected(self._response.energy, DIRECT_S)

    def late_field(self, source: Source, distance_m: float, sample_rate_hz: float, channels: int) -> LateField:
        return Convolution(self._response, sample_rate_hz, channels)


def surroundings(house: House, assets: Assets, sample_rate_hz: float) -> Surroundings:
    """What is around the seats of a house.

    Raises
    ------
    SketchError
        If its impulse response cannot be used.
    """
    settings = house.settings
    if settings.impulse_response is not None:
        return RealVenue(settings, assets, sample_rate_hz)
    return OpenAir() if settings.venue == "open air" else Walls(settings)


def _directivity_db(settings: HouseSettings) -> dict[Source, float]:
    return {"horn": settings.horn_directivity_db, "loudspeaker": settings.loudspeaker_directivity_db}
