"""What is heard on each wire of a drawing: one render with all wires as probes, measured span by span."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from chainsim.errors import GraphError, SettingError
from chainsim.listen.drawing.layout import OUT, lay_out
from chainsim.sketch.model import Sketch
from chainsim.units import Array, Audio, gain_to_db, samples_to_ms

if TYPE_CHECKING:
    from chainsim.audio.reading import Take
    from chainsim.graph.nodes import Node


@dataclass(frozen=True)
class WireFigures:
    """What is written at a wire.

    Attributes
    ----------
    latency_ms : float
        From the take to here, by the shortest way.
    loudness_lufs : float
        Integrated, as from two loudspeakers; minus infinity for silence and for less than 0.4 s.
    longest_ms : float, optional
        The latency by the longest way, if that is another.
    """

    latency_ms: float
    loudness_lufs: float
    longest_ms: float | None = None


@dataclass(frozen=True)
class WireMeasured:
    """What is measured on a wire.

    Attributes
    ----------
    latency_ms : float
        From the take to here, by the shortest way.
    longest_ms : float
        By the longest way.
    loudness_lufs : float
        Integrated, as from two loudspeakers, which a mono wire comes from alike; minus infinity for silence.
    peak_dbfs : float
        Largest sample.
    """

    latency_ms: float
    longest_ms: float
    loudness_lufs: float
    peak_dbfs: float

    @property
    def figures(self) -> WireFigures:
        """What of it is written at the wire."""
        return WireFigures(self.latency_ms, self.loudness_lufs, self.longest_ms)


@dataclass(frozen=True)
class WireHeard(WireMeasured):
    """What is heard on a wire; its figures are those of the whole render.

    Attributes
    ----------
    audio : ndarray of float32, shape (frames, channels)
        The whole render, or what was asked for of it.
    """

    audio: npt.NDArray[np.float32]


def measure_wires(sketch: Sketch, take: Take, *, threads: int = 1) -> dict[str, WireMeasured]:
    """Measure every wire that a drawing of a sketch shows apart, in memory that does not grow with the take.

    Parameters
    ----------
    sketch : Sketch
        As for `hear_wires`.
    take : Take
        An open file or an array.
    threads : int

    Raises
    ------
    SketchError, GraphError, AudioError
        If the chain cannot be built for this take, or the take cannot be read.
    """
    hearing = _Hearing(sketch, take)
    return hearing.run(hearing.names, {}, threads)


def hear_wires(
    sketch: Sketch,
    take: Array,
    sample_rate_hz: float,
    *,
    wires: Iterable[str] | None = None,
    excerpt_s: tuple[float, float] | None = None,
    threads: int = 1,
) -> dict[str, WireHeard]:
    """Hear the wires that a drawing of a sketch shows apart.

    Parameters
    ----------
    sketch : Sketch
        Its cues are played; the wires are those of its first state, and silent in states that have them not.
    take : ndarray, shape (frames,) or (frames, channels)
        One or two channels, finite.
    sample_rate_hz : float
    wires : names of wires, optional
        Only these are kept; by default all. "out" is what the whole chain gives, which a drawing shows apart only
        where a trim follows the last block.
    excerpt_s : (float, float), optional
        From when to when in the take, in seconds: of each wire just this is kept, in time with the take (its latency is
        cut from its beginning). It is shorter where the render ends before, and not faded. By default the whole render
        is kept, each wire as late as it is.
    threads : int

    Returns
    -------
    dict of WireHeard
        By name, in the order of the sound's way. A lane without level and pan has no name of its own here: it is the
        wire that leads to it. In a fork that aligns its lanes every one of them is there as it has waited, also where
        a drawing with figures shows no wait, since it is the latest.

    Raises
    ------
    SketchError, GraphError, AudioError
        If the chain cannot be built for this take or has no such wire, or the take cannot be used.
    SettingError
        If the excerpt ends before it begins, has no end, or begins where the take is over.
    """
    from chainsim.audio.reading import TakeArray

    source = TakeArray(take, sample_rate_hz)
    if excerpt_s is not None:
        _check_excerpt(*excerpt_s, source.frames / source.sample_rate_hz)
    hearing = _Hearing(sketch, source)
    names = hearing.names if wires is None else hearing.chosen(wires)
    recorders = {name: _Recorder(hearing.graph.outputs[name], hearing, excerpt_s) for name in names}
    measured = hearing.run(names, recorders, threads)
    return {name: WireHeard(**asdict(found), audio=recorders[name].audio) for name, found in measured.items()}


def _check_excerpt(from_s: float, to_s: float, take_s: float) -> None:
    found = f"excerpt {from_s:g} to {to_s:g} s"
    if not 0.0 <= from_s < to_s < math.inf:
        raise SettingError(f"{found}: allowed 0 s or more, and an end after it")
    if from_s >= take_s:
        raise SettingError(f"{found}: allowed a beginning within the take, which has {take_s:g} s")


class _Hearing:
    """A graph with every wire as a probe, and the take that is to go through it.

    Attributes
    ----------
    names : tuple of str
        Of the wires that a drawing shows apart.
    frames : int
        Of the whole render.
    """

    def __init__(self, sketch: Sketch, take: Take) -> None:
        from chainsim.graph.rendering import build_graph
        from chainsim.sketch.timeline import timeline

        self.names = lay_out(timeline(sketch)[0][1]).wire_names
        probes = [name for name in self.names if name != OUT]
        self.graph = build_graph(sketch, take.sample_rate_hz, take.channels, probes)
        self.frames = self.graph.frames(take.frames)
        self._take = take

    def chosen(self, wires: Iterable[str]) -> list[str]:
        """The names that are asked for, in the order of the sound's way.

        Raises
        ------
        GraphError
            If one is no name of a wire.
        """
        there, asked = list(dict.fromkeys([*self.names, OUT])), set(wires)
        if unknown := sorted(asked.difference(there)):
            raise GraphError(f'wire "{unknown[0]}": no such wire with sound on it; there are {", ".join(there)}')
        return [name for name in there if name in asked]

    def run(self, names: Iterable[str], recorders: Mapping[str, _Recorder], threads: int) -> dict[str, WireMeasured]:
        """Send the take through, and measure and record these wires."""
        from chainsim.graph.engine import Engine

        meters = {name: _Meter(self.graph.outputs[name], self.graph.sample_rate_hz) for name in names}
        for n0, outputs in Engine(self.graph, self._take.read, self._take.frames, threads=threads).stream():
            for name, meter in meters.items():
                meter.add(outputs[name])
                if name in recorders:
                    recorders[name].add(n0, outputs[name])
        return {name: meter.measured() for name, meter in meters.items()}


class _Meter:
    """Measures one wire, span by span."""

    def __init__(self, node: Node, sample_rate_hz: float) -> None:
        from chainsim.measure.loudness import BOTH_SIDES, LoudnessMeter

        weights = BOTH_SIDES if node.channels == 1 else None
        self._loudness = LoudnessMeter(sample_rate_hz, node.channels, weights)
        self._latency, self._rate_hz = node.latency, sample_rate_hz
        self._peak = 0.0

    def add(self, y: Audio) -> None:
        """Take the next span."""
        self._loudness.add(np.ascontiguousarray(y))
        self._peak = max(self._peak, float(np.max(np.abs(y), initial=0.0)))

    def measured(self) -> WireMeasured:
        """What was measured; AudioError if a sample was not finite."""
        least_ms, most_ms = (samples_to_ms(samples, self._rate_hz) for samples in self._latency)
        return WireMeasured(least_ms, most_ms, self._loudness.result().integrated_lufs, gain_to_db(self._peak))


class _Recorder:
    """Keeps one wire, or a part of it.

    Attributes
    ----------
    audio : ndarray of float32, shape (frames, channels)
    """

    def __init__(self, node: Node, hearing: _Hearing, excerpt_s: tuple[float, float] | None) -> None:
        self._first, end = 0, hearing.frames
        if excerpt_s is not None:
            late, rate_hz = round(node.latency[0]), hearing.graph.sample_rate_hz
            self._first, end = (min(late + round(at_s * rate_hz), hearing.frames) for at_s in excerpt_s)
        self.audio = np.zeros((end - self._first, node.channels), np.float32)

    def add(self, n0: int, y: Audio) -> None:
        """Take the next span, which begins at frame n0."""
        skipped = max(0, self._first - n0)
        at = n0 + skipped - self._first
        part = y[:, skipped : skipped + max(0, len(self.audio) - at)]
        self.audio[at : at + part.shape[1]] = part.T
