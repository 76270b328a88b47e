"""How far the versions of a take are from the first, in steps of which one is just audible."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.batch.listening.made import MadeVersion
from chainsim.measure.signals import pieces
from chainsim.measure.sound_distance.features import SoundFeatures
from chainsim.measure.sound_distance.meter import SoundMeter
from chainsim.measure.sound_distance.steps import sound_distance


def steps_from_first(versions: Sequence[MadeVersion], take_frames: int) -> list[float]:
    """Distance of each version to the first, at one loudness; 0 for the first.

    Parameters
    ----------
    versions : sequence of MadeVersion
    take_frames : int
        Length of the take; what comes later is the tail.
    """
    if len(versions) < 2:
        return [0.0] * len(versions)
    first = _features(versions[0], take_frames)
    return [0.0, *(sound_distance(first, _features(version, take_frames)).total for version in versions[1:])]


def _features(version: MadeVersion, take_frames: int) -> SoundFeatures:
    figures = version.figures
    late = round(figures.latency_ms * figures.sample_rate_hz / 1000.0)
    meter = SoundMeter(figures.sample_rate_hz, figures.channels, take_frames, late)
    for piece in pieces(version.samples()):
        meter.add(piece)
    return meter.result(figures.integrated_lufs + version.trim_db)
