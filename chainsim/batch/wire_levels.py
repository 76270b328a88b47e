"""Nominal levels behind the boxes of a sketch, for its wiring sheet."""

from __future__ import annotations

import math

import numpy as np

from chainsim.audio.reading import Take
from chainsim.batch.house_figures import LONGEST_S, beginning
from chainsim.batch.level_plan import Progress, plan_levels
from chainsim.measure.gaps import measure_gaps
from chainsim.sketch.model import Sketch


def wire_levels_dbu(sketch: Sketch, take: Take, progress: Progress = lambda done, whole: None) -> dict[str, float]:
    """Play the loudest part of a take through every patch: the highest nominal level behind each box, in dBu.

    Parameters
    ----------
    sketch : Sketch
    take : Take
    progress : callable, optional

    Returns
    -------
    dict
        By block, and "input" for the horn. Empty where the sketch has no [levels]; without those that stay silent.

    Raises
    ------
    SketchError, GraphError, AudioError
        If a patch cannot be built for the take, or a recording cannot be read.
    """
    sound = np.ascontiguousarray(beginning(take, LONGEST_S).T, dtype=np.float32)
    rate_hz = take.sample_rate_hz
    plan = plan_levels(sketch, sound, rate_hz, measure_gaps(sound, rate_hz).noise_rms_dbfs, progress=progress)
    if plan is None:
        return {}
    found: dict[str, float] = {}
    for state in plan.states:
        for point in state.points[:-1]:
            found[point.name] = max(found.get(point.name, -math.inf), point.nominal_dbu)
    return {name: level_dbu for name, level_dbu in found.items() if math.isfinite(level_dbu)}
