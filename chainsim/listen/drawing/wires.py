"""What is heard on each wire of a drawing: one render with all wires as probes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chainsim.listen.drawing.layout import lay_out
from chainsim.sketch.model import Sketch
from chainsim.units import Array, gain_to_db, samples_to_ms

OUT = "out"
BOTH_SIDES = (2.0,)
"""Weight of a mono wire beside stereo ones: it is heard from both sides, and a sum of it and little else is as loud."""


@dataclass(frozen=True)
class WireFigures:
    """What is written at a wire.

    Attributes
    ----------
    latency_ms : float
        From the take to here, by the shortest way.
    loudness_lufs : float
        Integrated; minus infinity for silence and for less than 0.4 s.
    longest_ms : float, optional
        The latency by the longest way, if that is another.
    """

    latency_ms: float
    loudness_lufs: float
    longest_ms: float | None = None


@dataclass(frozen=True)
class WireHeard:
    """What is heard on a wire.

    Attributes
    ----------
    audio : ndarray, shape (frames, channels)
        As long as the whole render.
    latency_ms : float
        From the take to here, by the shortest way.
    longest_ms : float
        By the longest way.
    loudness_lufs : float
        Integrated; minus infinity for silence. Where other wires are stereo, a mono one counts as heard from both
        sides.
    peak_dbfs : float
        Largest sample.
    """

    audio: Array
    latency_ms: float
    longest_ms: float
    loudness_lufs: float
    peak_dbfs: float

    @property
    def figures(self) -> WireFigures:
        """What of it is written at the wire."""
        return WireFigures(self.latency_ms, self.loudness_lufs, self.longest_ms)


def hear_wires(sketch: Sketch, take: Array, sample_rate_hz: float) -> dict[str, WireHeard]:
    """Hear every wire that a drawing of a sketch shows apart.

    Parameters
    ----------
    sketch : Sketch
        Its cues are played; the wires are those of its first state, and silent in states that have them not.
    take : ndarray, shape (frames,) or (frames, channels)
        One or two channels, finite.
    sample_rate_hz : float

    Returns
    -------
    dict of WireHeard
        By name, in the order of the sound's way. A lane without level and pan has no name of its own here: it is the
        wire that leads to it.

    Raises
    ------
    SketchError, GraphError, AudioError
        If the chain cannot be built for this take, or the take cannot be used.
    """
    from chainsim.audio.reading import TakeArray
    from chainsim.graph.rendering import build_graph, render_graph
    from chainsim.measure.loudness import measure_loudness
    from chainsim.sketch.timeline import timeline

    checked = TakeArray(take, sample_rate_hz)
    names = lay_out(timeline(sketch)[0][1]).wire_names
    graph = build_graph(sketch, sample_rate_hz, checked.channels, [name for name in names if name != OUT])
    sounds = render_graph(graph, checked.read(0, checked.frames))
    heard = {}
    widest = max(len(sounds[name]) for name in names)
    for name in names:
        audio = np.ascontiguousarray(sounds[name].T)
        least, most = (samples_to_ms(samples, sample_rate_hz) for samples in graph.outputs[name].latency)
        peak = float(np.max(np.abs(audio), initial=0.0))
        weights = BOTH_SIDES if audio.shape[1] < widest else None
        loudness_lufs = measure_loudness(audio, sample_rate_hz, weights).integrated_lufs if peak > 0.0 else -math.inf
        heard[name] = WireHeard(audio, least, most, loudness_lufs, gain_to_db(peak))
    return heard
