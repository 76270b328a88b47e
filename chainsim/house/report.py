"""A house in figures, before any sound is made."""

from __future__ import annotations

from dataclasses import dataclass

from chainsim.block import Assets
from chainsim.house.band import Band
from chainsim.house.seat import SeatReport, path_report, seat_report
from chainsim.house.surroundings import surroundings
from chainsim.sketch.house import House


@dataclass(frozen=True)
class HouseReport:
    """What there is to know of a house.

    Attributes
    ----------
    title : str
        Its venue in a few words.
    seats : tuple of SeatReport
    warnings : tuple of str
    """

    title: str
    seats: tuple[SeatReport, ...]
    warnings: tuple[str, ...]


def report_house(
    house: House, assets: Assets, sample_rate_hz: float, latency_ms: float, take_s: float | None
) -> HouseReport:
    """Work out levels and delays at every seat.

    Parameters
    ----------
    house : House
    assets : Assets
        The sketch's.
    sample_rate_hz : float
    latency_ms : float
        Of the chain, by the shortest way.
    take_s : float, optional
        How long the take is, to tell whether the band is as long.

    Raises
    ------
    SketchError
        If a file of the house cannot be used.
    """
    settings = house.settings
    around = surroundings(house, assets, sample_rate_hz)
    seats = []
    for name, seat in house.seats.items():
        horn = path_report(settings.acoustic_horn_db, seat.horn_m, around.reflected("horn", seat.horn_m))
        loudspeaker = path_report(0.0, seat.loudspeaker_m, around.reflected("loudspeaker", seat.loudspeaker_m))
        seats.append(seat_report(name, horn, loudspeaker, latency_ms))
    warnings = [line for seat in seats for line in seat.warnings]
    if house.band is not None:
        frames = 0 if take_s is None else round(take_s * sample_rate_hz)
        with Band(house.band, assets, sample_rate_hz, frames, 1) as band:
            warnings += band.warnings
    return HouseReport(around.title, tuple(seats), tuple(warnings))
