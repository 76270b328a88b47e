"""The house around a chain: its venue, the seats in it, and a band that plays along."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from pydantic import model_validator

from chainsim.errors import SettingError, nearest
from chainsim.settings import Settings, choice, fixed, level, words

VenueName = Literal["small club", "theatre", "hall", "open air"]


class HouseSettings(Settings):
    """What a house says beside its seats and its band: a venue, or an impulse response."""

    alternatives = (("venue", "impulse_response"),)

    venue: VenueName | None = choice(None, "kind of venue: how large it is, and how long sound stays in it")
    impulse_response: str | None = words(
        None, "a sound file beside the sketch: an impulse response that was taken in the venue"
    )
    impulse_response_m: float = fixed(
        10.0, 0.5, 300.0, "1", "metres from source to microphone when the impulse response was taken"
    )
    volume_m3: float | None = fixed(None, 30.0, 200_000.0, "1", "volume in cubic metres, if not the usual one")
    decay_s: float | None = fixed(
        None, 0.1, 12.0, "s", "time in which sound falls by 60 dB at 500 Hz to 1 kHz, if not the usual one"
    )
    acoustic_horn_db: float = level(
        -10.0, -80.0, 40.0, "the bare horn at 1 m, against the loudspeaker at 1 m when that is fed with the dry take"
    )
    horn_directivity_db: float = fixed(
        3.0, 0.0, 15.0, "dB", "how much more the horn gives to the front than in all directions on average"
    )
    loudspeaker_directivity_db: float = fixed(
        6.0, 0.0, 20.0, "dB", "how much more the loudspeaker gives to the front than in all directions on average"
    )

    @model_validator(mode="after")
    def _is_one_kind(self) -> HouseSettings:
        if (self.venue is None) == (self.impulse_response is None):
            raise ValueError("allowed either a venue or an impulse_response, and one of them is needed")
        written = [name for name in ("volume_m3", "decay_s") if getattr(self, name) is not None]
        if written and self.impulse_response is not None:
            raise ValueError(f"{written[0]} is a venue's; an impulse response brings its own")
        if written and self.venue == "open air":
            raise ValueError(f"{written[0]} is a room's; in the open air sound does not stay")
        if self.impulse_response is None and "impulse_response_m" in self.model_fields_set:
            raise ValueError("impulse_response_m does nothing without an impulse_response")
        return self


class SeatSettings(Settings):
    horn_m: float = fixed(10.0, 0.5, 300.0, "1", "metres to the horn")
    loudspeaker_m: float = fixed(10.0, 0.5, 300.0, "1", "metres to the loudspeaker")

    @model_validator(mode="after")
    def _has_both(self) -> SeatSettings:
        for name in ("horn_m", "loudspeaker_m"):
            if name not in self.model_fields_set:
                raise ValueError(f"{name} is missing: a seat is so many metres from each")
        return self


class HouseBandSettings(Settings):
    file: str | None = words(None, "a backing track beside the sketch; it begins with the take")
    loudness_lufs: float = fixed(
        -20.0, -60.0, 0.0, "1", "integrated loudness it is brought to, where it meets the feed"
    )

    @model_validator(mode="after")
    def _has_a_file(self) -> HouseBandSettings:
        if not self.file:
            raise ValueError('file is missing, such as file = "band.wav"')
        return self


def _seats(front_m: tuple[float, float], back_m: tuple[float, float]) -> Mapping[str, SeatSettings]:
    return {
        name: SeatSettings(horn_m=horn_m, loudspeaker_m=loudspeaker_m)
        for name, (horn_m, loudspeaker_m) in (("front_row", front_m), ("back", back_m))
    }


USUAL_SEATS: Mapping[str, Mapping[str, SeatSettings]] = {
    "small club": _seats((2.5, 3.5), (10.0, 9.0)),
    "theatre": _seats((4.0, 6.0), (22.0, 20.0)),
    "hall": _seats((6.0, 9.0), (32.0, 29.0)),
    "open air": _seats((4.0, 5.0), (32.0, 30.0)),
}
"""Seats of a house that names none, by venue; around an impulse response those of a theatre."""


@dataclass(frozen=True)
class House:
    """Where a chain is heard.

    Attributes
    ----------
    settings : HouseSettings
    seats : dict of SeatSettings
    band : HouseBandSettings or None
    """

    settings: HouseSettings
    seats: Mapping[str, SeatSettings] = field(default_factory=dict)
    band: HouseBandSettings | None = None

    def seat(self, name: str) -> SeatSettings:
        """One of its seats.

        Raises
        ------
        SettingError
            If it has no such seat.
        """
        if name not in self.seats:
            known = nearest(name, self.seats) or f"; there are {', '.join(self.seats)}"
            raise SettingError(f'no seat "{name}"{known}')
        return self.seats[name]
