"""How much louder or softer a patch gets when one of its boxes gives nothing."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from chainsim.audio.reading import Take
from chainsim.batch.house_figures import LONGEST_S, beginning
from chainsim.batch.playing import alone
from chainsim.graph.rendering import build_graph, render_graph
from chainsim.listen.sheets.failure_sheet.sheet import FailureSheet, played_states
from chainsim.listen.sheets.failure_sheet.without_box import dead
from chainsim.measure.loudness import measure_loudness
from chainsim.sketch.model import Sketch, State
from chainsim.units import Audio

PLAYED_S = 6.0
"""Round the loudest sample of the take: enough for a loudness, and there are many patches without many boxes."""

Progress = Callable[[int, int], None]
"""Told (sounds done, sounds in all)."""


def louder_without(
    sketch: Sketch, sheet: FailureSheet, take: Take, progress: Progress = lambda done, whole: None
) -> dict[tuple[str, str], float]:
    """Change of loudness in LU, by (box, patch), for those patches that live on otherwise.

    Boxes with a switch of their own are left out: how loud they are on, no patch says.

    Parameters
    ----------
    sketch : Sketch
        As it is set in the room of the sheet.
    sheet : FailureSheet
    take : Take
    progress : callable, optional

    Raises
    ------
    SketchError, GraphError, AudioError
        If a patch cannot be built for the take, or the take cannot be read.
    """
    part = _loudest_part(beginning(take, LONGEST_S), take.sample_rate_hz)
    states = played_states(sketch)
    wanted: dict[tuple[str, str], State] = {
        (one.box, p.patch): dead(states[p.patch], one.box)
        for one in sheet.boxes
        if not one.own_switch
        for p in one.patches
        if p.dead.kind == "lives on"
    }
    whole = [("", name) for name in dict.fromkeys(name for _, name in wanted)]
    sounds = {**{key: states[key[1]] for key in whole}, **wanted}

    def loudness(state: State) -> float:
        graph = build_graph(alone(sketch, state), take.sample_rate_hz, part.shape[0])
        y = render_graph(graph, part)["out"]
        sound = np.ascontiguousarray(np.broadcast_to(y, (2, y.shape[1])).T)
        return measure_loudness(sound, take.sample_rate_hz).integrated_lufs

    found: dict[tuple[str, str], float] = {}
    with ThreadPoolExecutor(os.cpu_count()) as executor:
        for key, lufs in zip(sounds, executor.map(loudness, sounds.values()), strict=True):
            found[key] = lufs
            progress(len(found), len(sounds))
    changes = {(box, name): found[box, name] - found["", name] for box, name in wanted}
    return {key: change_lu for key, change_lu in changes.items() if math.isfinite(change_lu)}


def _loudest_part(audio: Audio, sample_rate_hz: float) -> Audio:
    frames = round(PLAYED_S * sample_rate_hz)
    middle = int(np.argmax(np.abs(audio).max(axis=0))) if audio.size else 0
    first = max(0, min(middle - frames // 2, audio.shape[1] - frames))
    return np.ascontiguousarray(audio[:, first : first + frames])
