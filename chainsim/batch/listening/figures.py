"""What stands beside a version: its figures, and what one hears of it beside the first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from chainsim.batch.listening.made import MadeVersion
from chainsim.batch.orders.hearing import beside
from chainsim.batch.sounds.sound_figures import SoundFigures
from chainsim.listen.page.model import Figure

AUDIBLE_STEPS = 1.0


def figures_of(version: MadeVersion, steps: float | None) -> tuple[Figure, ...]:
    """Figures for the reader, those of the sound as it comes.

    Parameters
    ----------
    version : MadeVersion
    steps : float or None
        How far it is from the first; None for the first.
    """
    said = [Figure(label, text) for label, text in version.said.items()]
    measured = [Figure(label, text) for label, text in _measured(version.figures)]
    far = [] if steps is None else [Figure("beside the first", f"{steps:.1f} steps")]
    return (*said, *measured, *far)


def differs(version: MadeVersion, first: MadeVersion, steps: float) -> str:
    """What one hears of a version beside the first, in a few words: of its noise, what is more when both are as loud.

    Parameters
    ----------
    version, first : MadeVersion
    steps : float
        How far they are apart at one loudness.
    """
    louder_lu = version.figures.integrated_lufs - first.figures.integrated_lufs
    noise_dbfs = version.figures.noise_floor_dbfs - (louder_lu if math.isfinite(louder_lu) else 0.0)
    words = beside(replace(version.figures, noise_floor_dbfs=noise_dbfs), first.figures)
    if steps < AUDIBLE_STEPS:
        return f"{words}; otherwise hardly told apart from it" if words else "hardly told apart from it"
    return words or "differs in what no single figure tells"


def _measured(figures: SoundFigures) -> Iterator[tuple[str, str]]:
    silent = not math.isfinite(figures.true_peak_dbtp)
    yield "loudness as it comes", _number(figures.integrated_lufs, "LUFS", "silent or too short")
    if silent:
        return
    yield "highest peak", _number(figures.true_peak_dbtp, "dBTP", "-")
    if not math.isnan(figures.noise_floor_dbfs):
        yield "noise in the rests", _number(figures.noise_floor_dbfs, "dBFS", "none at all", digits=0)
    if figures.gate_openings is not None:
        yield "its gate opens", f"{figures.gate_openings} x"
    yield "brightness", _number(figures.centroid_hz, "Hz", "-", digits=0)
    yield "rings on after the take", _number(figures.tail_s, "s", "-")
    yield "latency", f"{figures.latency_ms:.1f} ms"


def _number(value: float, unit: str, none: str, *, digits: int = 1) -> str:
    return f"{round(value, digits) + 0.0:.{digits}f} {unit}" if math.isfinite(value) else none
