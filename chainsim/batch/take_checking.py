"""What a take is fit for, and what a sketch and its gates do to it: the figures behind `chainsim check --take`."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from chainsim.audio.reading import Take, TakeArray
from chainsim.batch.checking import tracks_pitch
from chainsim.batch.level_plan import LevelPlan, plan_levels
from chainsim.batch.playing import GateReport, PlayedReport, Samples, alone, cautions, play, states
from chainsim.batch.tracking import track, tuning_of
from chainsim.graph.rendering import build_graph
from chainsim.measure.fitness import Fitness, measure_fitness, offsets
from chainsim.notes.tuner import Tuning
from chainsim.sketch.model import Sketch

LONGEST_ANALYSED_S = 600.0
MOST_ANALYSED_SAMPLES = 1 << 26
"""Of all channels together: what fits into 256 MB."""
READ_FRAMES = 1 << 16


@dataclass(frozen=True)
class TakeReport:
    """What a take is fit to judge, and what the sketch does to it."""

    take: str
    analysed_s: float
    fitness: Fitness
    tuning: Tuning | None
    """The player's, where the sketch names an instrument or follows the pitch."""
    played: PlayedReport
    gates: tuple[GateReport, ...]
    levels: LevelPlan | None
    """Where the sketch states what 0 dBFS stands for."""
    cautions: tuple[str, ...]
    """About what will be heard."""
    warnings: tuple[str, ...]
    """About the file and how much of it was looked at."""

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return asdict(self)


def check_take(sketch: Sketch, take: Take) -> TakeReport:
    """Judge a take, and what the sketch and its gates do to it.

    At most the first ten minutes are looked at (less at high rates); a warning says so.

    Raises
    ------
    AudioError, SketchError, GraphError
        If the take cannot be read, or the chain cannot be built for it.
    """
    audio = _beginning(take)
    warnings = [*take.warnings, *sketch.late_cues(take.frames / take.sample_rate_hz)]
    analysed_s = len(audio) / take.sample_rate_hz
    if len(audio) < take.frames:
        warnings.append(f"only the first {analysed_s:.0f} s of {take.frames / take.sample_rate_hz:.0f} s are looked at")
    findings = measure_fitness(audio, take.sample_rate_hz)
    played, gates = play(sketch, audio, take.sample_rate_hz, findings)
    tuning = _tuning(sketch, TakeArray(audio, take.sample_rate_hz))
    return TakeReport(
        take=str(take.path or "array"),
        analysed_s=analysed_s,
        fitness=findings.fitness,
        tuning=tuning,
        played=played,
        gates=gates,
        levels=plan_levels(sketch, audio, take.sample_rate_hz, findings.gaps.noise_rms_dbfs),
        cautions=(*offsets(findings.fitness), *cautions(played)),
        warnings=tuple(warnings),
    )


def _tuning(sketch: Sketch, take: Take) -> Tuning | None:
    header = sketch.header
    if header.instrument is None and not any(
        tracks_pitch(build_graph(alone(sketch, state), take.sample_rate_hz, take.channels))
        for _, state in states(sketch)
    ):
        return None
    return tuning_of(track(take, range_hz=header.pitch_range_hz, a4_hz=sketch.base.a4_hz))


def _beginning(take: Take) -> Samples:
    """As much of a take as is looked at, shape (frames, channels)."""
    longest = min(math.floor(LONGEST_ANALYSED_S * take.sample_rate_hz), MOST_ANALYSED_SAMPLES // take.channels)
    audio = np.empty((min(take.frames, longest), take.channels), dtype=np.float32)
    for first in range(0, len(audio), READ_FRAMES):
        part = audio[first : first + READ_FRAMES]
        part[:] = take.read(first, len(part)).T
    return audio
