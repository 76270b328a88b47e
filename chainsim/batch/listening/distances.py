"""How far the versions of a take are from the first, in steps of which one is just audible, and where one hears it."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.batch.listening.made import MadeVersion
from chainsim.measure.sound_distance.places import Apart, Beside, rests_of
from chainsim.units import Array


def apart_from_first(versions: Sequence[MadeVersion], take: Array, sample_rate_hz: float) -> list[Apart]:
    """Distance of each version but the first to it, at one loudness.

    Parameters
    ----------
    versions : sequence of MadeVersion
    take : ndarray, shape (frames, channels)
        It tells where it is not played; what comes after it is the tail.
    sample_rate_hz : float
    """
    if len(versions) < 2:
        return []
    first = versions[0]
    beside = Beside(first.samples(), sample_rate_hz, len(take), rests_of(take, sample_rate_hz), _late(first))
    return [beside.apart(version.samples(), _late(version)) for version in versions[1:]]


def _late(version: MadeVersion) -> int:
    figures = version.figures
    return round(figures.latency_ms * figures.sample_rate_hz / 1000.0)
