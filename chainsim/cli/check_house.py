"""What `chainsim check` says of a house: how loud and how late horn and loudspeaker are at every seat."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from chainsim.cli.common import number, table

if TYPE_CHECKING:
    from chainsim.house.report import HouseReport
    from chainsim.house.seat import PathReport, SeatReport


def house_lines(house: HouseReport) -> Iterator[str]:
    """A line a seat, and what the columns mean."""
    yield f"\nHouse: {house.title}"
    path = ("at ms", "over room dB")
    head = ("seat", "horn dB", *path, "loudspeaker dB", *path, "later by ms", "muted dB")
    yield table(head, map(_row, house.seats))
    yield (
        "dB: direct sound against the loudspeaker at 1 m, for a chain as loud as the take; over room: against what the"
        " venue adds to it; muted: what the horn leaves of all"
    )


def _row(seat: SeatReport) -> tuple[str, ...]:
    return (
        seat.name,
        *_path(seat.horn),
        *_path(seat.loudspeaker),
        f"{seat.loudspeaker_later_ms:+.1f}",
        number(seat.mute_leaves_db),
    )


def _path(path: PathReport) -> tuple[str, str, str]:
    if path.direct_db == -math.inf:
        return ("off", "", "")
    return number(path.direct_db), f"{path.delay_ms:.1f}", number(path.direct_to_reflected_db)
