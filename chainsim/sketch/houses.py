"""Reading houses: the one around the sketch, and what is otherwise in a room."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from chainsim.sketch.house import USUAL_SEATS, House, HouseBandSettings, HouseSettings, SeatSettings
from chainsim.sketch.reading import read_settings, table_of

HOUSE_PARTS = ("seats", "band")


def read_house(table: object, place: str, faults: list[str]) -> House | None:
    """Check one house; None where there is none, or none that can be used."""
    if table is None:
        return None
    if not isinstance(table, dict):
        faults.append(f'{place}: allowed a table, such as [{place}] with venue = "theatre"')
        return None
    own = {k: v for k, v in table.items() if k not in HOUSE_PARTS}
    settings = read_settings(HouseSettings, own, place, faults, also_known=HOUSE_PARTS)
    found = {
        name: read_settings(SeatSettings, seat, f"{place}.seats.{name}", faults)
        for name, seat in table_of(table, "seats", faults, within=place).items()
    }
    band = _band(table.get("band"), f"{place}.band", faults)
    if settings is None:
        return None
    seats = {name: seat for name, seat in found.items() if seat is not None}
    return House(settings, seats or USUAL_SEATS[settings.venue or "theatre"], band)


def read_room_house(written: object, changed: object, place: str, faults: list[str]) -> House | None:
    """Check the house as it is in a room, where `changed` is set otherwise than `written`."""
    if isinstance(written, dict) and isinstance(changed, dict):
        return read_house(house_in_room(written, changed), place, faults)
    return read_house(changed, place, faults)


def _band(table: object, place: str, faults: list[str]) -> HouseBandSettings | None:
    if table is None:
        return None
    if not isinstance(table, dict):
        faults.append(f'{place}: allowed a table, such as [{place}] with file = "band.wav"')
        return None
    return read_settings(HouseBandSettings, table, place, faults)


def house_in_room(written: Mapping[str, Any], changed: Mapping[str, Any]) -> dict[str, Any]:
    """A house with changes: another kind of venue puts away what belonged to the one before."""
    kept = dict(written)
    if {"venue", "impulse_response"} & set(changed):
        for name in ("venue", "impulse_response", "impulse_response_m", "volume_m3", "decay_s"):
            kept.pop(name, None)
    band, other = kept.get("band"), changed.get("band")
    merged = {**kept, **changed}
    if isinstance(band, dict) and isinstance(other, dict):
        merged["band"] = {**band, **other}
    return merged
