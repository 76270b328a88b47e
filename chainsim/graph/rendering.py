"""Rendering: a sketch and a take in, sound out; the three lines of Python that the command line also uses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from chainsim.display import notebook_html
from chainsim.graph.build import Graph, GraphBuilder
from chainsim.graph.engine import CHUNK, Engine, Reader
from chainsim.house.listening import Heard, KeptTake, Listener
from chainsim.sketch.model import Sketch
from chainsim.units import Array, Audio


@dataclass(frozen=True)
class Rendering:
    """What came out.

    Attributes
    ----------
    audio : ndarray, shape (frames, channels)
    sample_rate_hz : float
    probes : dict of ndarray, shape (frames, channels)
    latency_samples : float
        From the take to the output, by the shortest way.
    tail_s : float
        Bound of what goes on after the take.
    warnings : list of str
    """

    audio: Array
    sample_rate_hz: float
    probes: Mapping[str, Array] = field(default_factory=dict)
    latency_samples: float = 0.0
    tail_s: float = 0.0
    warnings: list[str] = field(default_factory=list)

    def _repr_html_(self) -> str:
        """A player and figures, for notebooks."""
        return notebook_html(self)


def build_graph(sketch: Sketch, sample_rate_hz: float, take_channels: int = 1, probes: Iterable[str] = ()) -> Graph:
    """Build the graph of one sketch for takes of one rate and layout."""
    builder = GraphBuilder(sample_rate_hz, take_channels)
    builder.add(sketch, probes=probes)
    return builder.build()


def stream(
    graph: Graph, read: Reader, take_frames: int, *, chunk: int = CHUNK, threads: int = 1
) -> Iterator[tuple[int, dict[str, Audio]]]:
    """Send a take through a graph; yields (first frame, outputs (channels, frames) by name), span by span."""
    return Engine(graph, read, take_frames, chunk=chunk, threads=threads).stream()


def array_reader(audio: Array) -> Reader:
    """Read from an array of shape (channels, frames)."""

    def read(n0: int, frames: int) -> Audio:
        part = np.zeros((audio.shape[0], frames))
        there = audio[:, n0 : n0 + frames]
        part[:, : there.shape[1]] = there
        return part

    return read


def render_graph(graph: Graph, audio: Audio, *, chunk: int = CHUNK, threads: int = 1) -> dict[str, Audio]:
    """Render every output of a graph over a take in memory; arrays are (channels, frames)."""
    return _gathered(Engine(graph, array_reader(audio), audio.shape[1], chunk=chunk, threads=threads))


def _gathered(feed: Engine | Heard) -> dict[str, Audio]:
    """All that a stream gives, each output as one array."""
    whole: dict[str, Audio] = {}
    for n0, outputs in feed.stream():
        for name, x in outputs.items():
            if name not in whole:
                whole[name] = np.zeros((x.shape[0], feed.frames))
            whole[name][:, n0 : n0 + x.shape[1]] = x
    return whole


def render(
    sketch: Sketch,
    take: Array,
    sample_rate_hz: float,
    *,
    probes: Iterable[str] = (),
    threads: int = 1,
    seat: str | None = None,
    with_band: bool = False,
) -> Rendering:
    """Render a take in memory.

    Parameters
    ----------
    sketch : Sketch
    take : ndarray, shape (frames,) or (frames, channels)
        One or two channels, finite.
    sample_rate_hz : float
    probes : names of wires that are kept too, or "BLOCK:READING"
        "input", a block (its output), "mix dry" and "mix wet" (what a blender sums, behind its levels), "sum 1" (what
        the first fork of lanes gives, one in a lane before the one around it), "lane 1.2" (its second lane, after level
        and pan), "lane 1.2 before pan", "lane 1.2 aligned" (when it has waited for the latest lane) or "sum 1.2" (what
        its second lane and those after it give).
    threads : int
    seat : str, optional
        Hear it from this seat of the sketch's house, where its band plays too.
    with_band : bool
        At the feed: mix the band under it.

    Returns
    -------
    Rendering
        As long as the take plus the chain's latency and tail, and at a seat the way through the air and the venue's
        own tail.

    Raises
    ------
    SketchError, GraphError, AudioError
        If the chain cannot be built for this take, or the take cannot be used.
    """
    from chainsim.audio.reading import TakeArray

    if not isinstance(sketch, Sketch):
        raise TypeError(f"found {sketch!r:.60}, allowed a Sketch; load_sketch(path) reads one")
    checked = TakeArray(take, sample_rate_hz)
    graph = build_graph(sketch, sample_rate_hz, checked.channels, probes)
    kept = KeptTake(checked.read)
    engine = Engine(graph, kept.read, checked.frames, threads=threads)
    if seat is None and not with_band:
        outputs, warnings = _gathered(engine), []
    else:
        with Listener(
            sketch, seat, sample_rate_hz=graph.sample_rate_hz, feed_channels=graph.channels("out"),
            take_frames=checked.frames,
        ) as listener:  # fmt: skip
            outputs, warnings = _gathered(Heard(engine, kept, listener)), listener.warnings
    return Rendering(
        audio=np.ascontiguousarray(outputs.pop("out").T),
        sample_rate_hz=sample_rate_hz,
        probes={name: np.ascontiguousarray(x.T) for name, x in outputs.items()},
        latency_samples=graph.latency[0],
        tail_s=graph.tail_s,
        warnings=[*sketch.warnings, *graph.warnings, *warnings],
    )
