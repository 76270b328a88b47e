"""What stands beside a version: its figures, and what one hears of it beside the first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from chainsim.batch.listening.chain_words import AS_PLAYED, chain_beside
from chainsim.batch.listening.made import MadeVersion
from chainsim.batch.orders.hearing import SILENT_DBFS, beside
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.graph.rendering import build_graph
from chainsim.listen.page.model import Figure
from chainsim.measure.sound_distance.places import AUDIBLE_STEPS, Apart


def figures_of(version: MadeVersion, far: Apart | None, take_channels: int = 1) -> tuple[Figure, ...]:
    """Figures for the reader, those of the sound as it comes.

    Parameters
    ----------
    version : MadeVersion
    far : Apart or None
        How far it is from the first; None for the first.
    take_channels : int
    """
    said = [Figure(label, text) for label, text in version.said.items()]
    measured = [Figure(label, text) for label, text in _measured(version.figures, _latest_ms(version, take_channels))]
    beside_first = [] if far is None else [Figure("beside the first", _steps(far))]
    return (*said, *measured, *beside_first)


def differs(version: MadeVersion, first: MadeVersion, far: Apart) -> str:
    """What a version does that the first does not, and what one hears of it, in a few words.

    Of the rests it tells what is louder when both sounds are as loud.

    Parameters
    ----------
    version, first : MadeVersion
    far : Apart
        How far they are apart at one loudness, and where.
    """
    louder_lu = version.figures.two_loudspeakers_lufs - first.figures.two_loudspeakers_lufs
    rests_dbfs = version.figures.rests_dbfs - (louder_lu if math.isfinite(louder_lu) else 0.0)
    words = beside(replace(version.figures, rests_dbfs=rests_dbfs), first.figures)
    both = version.sketch, first.sketch
    does = "" if both[0] is None or both[1] is None else chain_beside(both[0], both[1])
    return "; ".join(filter(None, (does, words, _how_far(far, told=bool(words)))))


def told_of_first(versions: Sequence[MadeVersion]) -> str:
    """What the others are told against, where that is not plain: of a first one with cues, its beginning."""
    sketch = versions[0].sketch
    if sketch is None or not sketch.cues or len(versions) < 2:
        return ""
    return f"{AS_PLAYED}; what the others add or lack is told against its beginning"


def _how_far(far: Apart, *, told: bool) -> str:
    if far.total < AUDIBLE_STEPS:
        return "otherwise hardly told apart from it" if told else "hardly told apart from it"
    only = f", only {far.only}" if far.only else ""
    return f"{_steps(far)} from the first{only}" if math.isfinite(far.total) else ""


def _steps(far: Apart) -> str:
    """The same wherever it stands."""
    return f"{far.total:.1f} steps"


def _latest_ms(version: MadeVersion, take_channels: int) -> float:
    """Latency by the longest way; by the shortest where the sketch is gone."""
    if version.sketch is None:
        return version.figures.latency_ms
    rate_hz = version.figures.sample_rate_hz
    return 1000.0 * build_graph(version.sketch, rate_hz, take_channels).latency[1] / rate_hz


def _measured(figures: SoundFigures, latest_ms: float) -> Iterator[tuple[str, str]]:
    silent = not math.isfinite(figures.true_peak_dbtp)
    yield "loudness as it comes", _number(figures.two_loudspeakers_lufs, "LUFS", "silent or too short")
    if silent:
        return
    yield "highest peak", _number(figures.true_peak_dbtp, "dBTP", "-")
    if not math.isnan(figures.rests_dbfs):
        level_dbfs = figures.rests_dbfs if figures.rests_dbfs > SILENT_DBFS else -math.inf
        yield "level in the rests", _number(level_dbfs, "dBFS", "silent", digits=0)
    if figures.gate_openings is not None:
        yield "its gate opens", f"{figures.gate_openings} x"
    yield "brightness", _number(figures.centroid_hz, "Hz", "-", digits=0)
    yield "rings on after the take", _number(figures.tail_s, "s", "-")
    yield "latency", _range_ms(figures.latency_ms, latest_ms)


def _range_ms(least_ms: float, most_ms: float) -> str:
    least, most = f"{least_ms:.1f}", f"{most_ms:.1f}"
    return f"{least} ms" if least == most else f"{least} to {most} ms"


def _number(value: float, unit: str, none: str, *, digits: int = 1) -> str:
    return f"{round(value, digits) + 0.0:.{digits}f} {unit}" if math.isfinite(value) else none
