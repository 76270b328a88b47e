"""What one seat hears, in figures: how loud and how late the horn and the loudspeaker are there."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chainsim.house.air import travel_s
from chainsim.house.sound_field import Reflected

ECHO_S = 0.050
ECHO_UNDER_DB = 10.0
"""A later sound is heard apart once it comes over 50 ms after the first, unless it is 10 dB softer: common practice
after H. Haas, "The Influence of a Single Echo on the Audibility of Speech" (1951, in English J. AES 20, 1972)."""
COMB_S = 0.005
COMB_UNDER_DB = 10.0
"""Two copies nearer than this colour each other; 10 dB apart the ripple is from -3.3 to +2.4 dB."""


@dataclass(frozen=True)
class PathReport:
    """One source at one seat; levels against the loudspeaker at 1 m, fed with the dry take.

    Attributes
    ----------
    distance_m, delay_ms : float
    direct_db : float
        Of the direct sound; minus infinity for a horn that is off.
    reflected_db : float
        Of what the venue gives back of it, 500 Hz to 1 kHz.
    reflected_after_ms : float
        From the direct sound to the first of that.
    """

    distance_m: float
    delay_ms: float
    direct_db: float
    reflected_db: float
    reflected_after_ms: float

    @property
    def total_db(self) -> float:
        """Direct and reflected energy together."""
        return _sum_db(self.direct_db, self.reflected_db)

    @property
    def direct_to_reflected_db(self) -> float:
        """The direct-to-reverberant ratio."""
        return self.direct_db - self.reflected_db if math.isfinite(self.direct_db) else math.nan


@dataclass(frozen=True)
class SeatReport:
    """One seat.

    Attributes
    ----------
    name : str
    horn, loudspeaker : PathReport
    loudspeaker_later_ms : float
        The chain's latency, and how much further the loudspeaker is.
    mute_leaves_db : float
        What the horn alone gives, against both; minus infinity where it is off.
    warnings : tuple of str
    """

    name: str
    horn: PathReport
    loudspeaker: PathReport
    loudspeaker_later_ms: float
    mute_leaves_db: float
    warnings: tuple[str, ...]


def path_report(level_db: float, distance_m: float, reflected: Reflected) -> PathReport:
    """One source of `level_db` at 1 m."""
    return PathReport(
        distance_m=distance_m,
        delay_ms=1000.0 * travel_s(distance_m),
        direct_db=level_db - 20.0 * math.log10(distance_m),
        reflected_db=level_db + 10.0 * math.log10(max(reflected.energy, 1e-30)),
        reflected_after_ms=1000.0 * reflected.after_s,
    )


def seat_report(name: str, horn: PathReport, loudspeaker: PathReport, latency_ms: float) -> SeatReport:
    """Both sources at one seat, for a chain of this latency that gives as much as it gets."""
    later_ms = latency_ms + loudspeaker.delay_ms - horn.delay_ms
    both_db = _sum_db(horn.total_db, loudspeaker.total_db)
    return SeatReport(
        name=name,
        horn=horn,
        loudspeaker=loudspeaker,
        loudspeaker_later_ms=later_ms,
        mute_leaves_db=horn.total_db - both_db,
        warnings=tuple(_warnings(name, horn, loudspeaker, later_ms)),
    )


def _warnings(name: str, horn: PathReport, loudspeaker: PathReport, later_ms: float) -> list[str]:
    if horn.direct_db == -math.inf:
        return []
    early, late = ("horn", "loudspeaker") if later_ms >= 0.0 else ("loudspeaker", "horn")
    level_db = {"horn": horn.direct_db, "loudspeaker": loudspeaker.direct_db}
    under_db, apart_ms = level_db[early] - level_db[late], abs(later_ms)
    if apart_ms > 1000.0 * ECHO_S and under_db < ECHO_UNDER_DB:
        softer = f"{under_db:.0f} dB softer" if under_db >= 0.5 else "not softer"
        return [
            f"seat {name}: the {late} comes {apart_ms:.0f} ms after the {early} and is {softer}; over"
            f" {1000 * ECHO_S:.0f} ms that is an echo, unless it is {ECHO_UNDER_DB:g} dB softer"
        ]
    if 0.01 < apart_ms < 1000.0 * COMB_S and abs(under_db) < COMB_UNDER_DB:
        gain = 10.0 ** (-abs(under_db) / 20.0)
        dip = f"{20.0 * math.log10(1.0 - gain):.0f} dB" if gain < 0.99 else "silence"
        return [
            f"seat {name}: horn and loudspeaker come {apart_ms:.1f} ms apart; where the loudspeaker has the plain horn,"
            f" they form a comb with its first notch at {500.0 / apart_ms:.0f} Hz, down to {dip}"
        ]
    return []


def _sum_db(a_db: float, b_db: float) -> float:
    """Level of two energies together."""
    energy = sum(10.0 ** (level_db / 10.0) for level_db in (a_db, b_db) if level_db > -math.inf)
    return 10.0 * math.log10(energy) if energy > 0.0 else -math.inf
