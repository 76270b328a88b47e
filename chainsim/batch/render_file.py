"""One take through one sketch into files, with what a player wants to know of the result."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.audio.reading import open_take, take_hash
from chainsim.audio.wav import SampleFormat
from chainsim.audio.writing import TakeWriter, record_path, refuse_same_file, write_record
from chainsim.batch.metering import OutputMeter, cautions
from chainsim.errors import AudioError, GraphError, SketchError
from chainsim.graph.build import Graph
from chainsim.graph.engine import Engine
from chainsim.graph.rendering import build_graph
from chainsim.measure.loudness import LoudnessMeter
from chainsim.sketch.model import Sketch
from chainsim.units import Audio

MOST_TRIM_DB = 30.0

Progress = Callable[[int, int], None]
"""Told (frames done, frames in all)."""


@dataclass(frozen=True)
class FileReport:
    """What one render gave.

    Attributes
    ----------
    take, output : str
    probes : dict of str
        Files of the probed blocks.
    sample_rate_hz : float
    channels, frames : int
    latency_ms : float
        From the take to the output, by the shortest way.
    tail_s : float
        Bound of what goes on after the take.
    integrated_lufs, true_peak_dbtp, sample_peak_dbfs : float
        ITU-R BS.1770-5; minus infinity for silence.
    louder_by_lu : float
        Than the take while that sounds, both on two loudspeakers; NaN if either is silent.
    trim_db : float
        What one loudness needed, where that was asked for.
    lowered_by_db : float
        What an integer format needed, where that was asked for; the levels above are those after both.
    times_real_time : float
        Seconds of take per second of rendering.
    sketch, sketch_sha256, take_sha256, version : str
    patch, room : str or None
        Where it is one patch alone, or one room.
    warnings : list of str
    """

    take: str
    output: str
    probes: dict[str, str]
    sample_rate_hz: float
    channels: int
    frames: int
    latency_ms: float
    tail_s: float
    integrated_lufs: float
    louder_by_lu: float
    true_peak_dbtp: float
    sample_peak_dbfs: float
    trim_db: float
    lowered_by_db: float
    times_real_time: float
    sketch: str
    sketch_sha256: str
    take_sha256: str
    version: str
    patch: str | None = None
    room: str | None = None
    warnings: list[str] = field(default_factory=list)

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return asdict(self)


def render_file(
    sketch: Sketch,
    take: str | Path,
    output: str | Path,
    *,
    probes: Mapping[str, str | Path] | None = None,
    sample_format: SampleFormat | None = None,
    lower_to_fit: bool = False,
    loudness_lufs: float | None = None,
    channels: int | None = None,
    record: bool = False,
    threads: int | None = None,
    progress: Progress | None = None,
) -> FileReport:
    """Render a take into a file, span by span, so that memory does not grow with its length.

    Parameters
    ----------
    sketch : Sketch
    take, output : path
        The output's suffix chooses its format.
    probes : dict of path by block
        Where the output of single blocks goes.
    sample_format, lower_to_fit
        As for `TakeWriter`.
    loudness_lufs : float, optional
        Bring the whole file to this loudness by one trim, at most 30 dB either way; probes keep their levels.
    channels : int, optional
        Write so many: 2 puts a sound of one channel on both, so that it is as loud beside wider ones as it is heard.
    record : bool
        Write the report beside the output as JSON.
    threads : int, optional
        By default as many as the chain has lanes, at most one a core.
    progress : callable, optional

    Raises
    ------
    AudioError, SketchError, GraphError
        Nothing is left half-written.
    """
    if "out" in (probes or {}):
        raise AudioError('a probe "out" is the output itself; leave it out')
    # The output is entered last and so finished first: if it is refused, the probes are dropped with it.
    files = {**{name: Path(p) for name, p in (probes or {}).items()}, "out": Path(output)}
    if len({p.resolve() for p in files.values()}) < len(files):
        raise AudioError(f"{output}: two outputs would be one file")
    for path in files.values():
        refuse_same_file(path, [take])
    with ExitStack() as stack:
        source = stack.enter_context(open_take(take))
        graph = build_graph(sketch, source.sample_rate_hz, source.channels, [n for n in files if n != "out"])
        dry = LoudnessMeter(source.sample_rate_hz, source.channels)

        def read(n0: int, frames: int) -> Audio:
            x = source.read(n0, frames)
            there = max(0, min(frames, source.frames - n0))
            dry.add(x if there == frames else np.ascontiguousarray(x[:, :there]))
            return x

        engine = Engine(graph, read, source.frames, threads=threads or threads_for(graph))
        width = graph.outputs["out"].channels
        channels = max(width, channels or width)
        meter = OutputMeter(source.sample_rate_hz, channels, source.frames + math.ceil(graph.latency[1]))
        engine.warm_up()
        meter.add(0, np.zeros((channels, 0)))
        writers = {
            name: stack.enter_context(
                TakeWriter(path, source.sample_rate_hz, channels if name == "out" else graph.channels(name),
                           sample_format, lower_to_fit=lower_to_fit)
            )
            for name, path in files.items()
        }  # fmt: skip
        begun = time.perf_counter()
        for n0, outputs in engine.stream():
            if channels > width:
                outputs["out"] = np.repeat(outputs["out"], channels // width, axis=0)
            for name, writer in writers.items():
                writer.write(outputs[name])
            meter.add(n0, outputs["out"])
            if progress is not None:
                progress(n0 + outputs["out"].shape[1], engine.frames)
        seconds = time.perf_counter() - begun
        trim_db, too_far = _trim(meter.integrated_lufs, loudness_lufs)
        writers["out"].trim_db = trim_db
    peaks = meter.peaks()
    lowered_by_db = writers["out"].lowered_by_db
    change_db = trim_db - lowered_by_db
    true_peak_dbtp = peaks.true_peak_dbtp + change_db
    louder_by_lu = meter.louder_by_lu(dry.result().integrated_lufs, source.channels) + change_db
    loud = cautions(true_peak_dbtp, louder_by_lu)
    report = FileReport(
        take=str(take),
        output=str(output),
        probes={name: str(path) for name, path in files.items() if name != "out"},
        sample_rate_hz=source.sample_rate_hz,
        channels=channels,
        frames=engine.frames,
        latency_ms=1000.0 * graph.latency[0] / source.sample_rate_hz,
        tail_s=graph.tail_s,
        integrated_lufs=meter.integrated_lufs + change_db,
        louder_by_lu=louder_by_lu,
        true_peak_dbtp=true_peak_dbtp,
        sample_peak_dbfs=peaks.sample_peak_dbfs + change_db,
        trim_db=trim_db,
        lowered_by_db=lowered_by_db,
        times_real_time=source.frames / source.sample_rate_hz / max(seconds, 1e-9),
        sketch=sketch.title,
        sketch_sha256=sketch.sha256,
        take_sha256=take_hash(take),
        version=_version(),
        patch=sketch.patch,
        room=sketch.room,
        warnings=[
            *source.warnings,
            *sketch.warnings,
            *sketch.late_cues(source.frames / source.sample_rate_hz),
            *graph.warnings,
            *engine.warnings,
            *too_far,
            *loud,
        ],
    )
    if record:
        write_record(record_path(output), report.to_dict())
    return report


def _trim(integrated_lufs: float, wanted_lufs: float | None) -> tuple[float, list[str]]:
    """What brings a loudness to another one, in dB, and a word where that is not possible."""
    if wanted_lufs is None:
        return 0.0, []
    if integrated_lufs == -math.inf:
        return 0.0, ["silence has no loudness to change"]
    trim_db = wanted_lufs - integrated_lufs
    if abs(trim_db) <= MOST_TRIM_DB:
        return trim_db, []
    return math.copysign(MOST_TRIM_DB, trim_db), [f"{wanted_lufs:g} LUFS would need a trim of {trim_db:+.0f} dB"]


def widest_patch(sketch: Sketch, take: str | Path) -> int:
    """Channels of the widest of a set's patches over a take; one that cannot be built counts when it is rendered."""
    with open_take(take) as source:
        rate_hz, channels = source.sample_rate_hz, source.channels
    widths = []
    for name in sketch.patches:
        with suppress(GraphError, SketchError):
            widths.append(build_graph(sketch.alone(name), rate_hz, channels).channels("out"))
    return max(widths, default=channels)


def threads_for(graph: Graph) -> int:
    """As many threads as blocks can run side by side, at most one a core."""
    depth: dict[Any, int] = {}
    width: dict[int, int] = {}
    for node in graph.nodes:
        depth[node] = 1 + max((depth[s] for s in node.sources()), default=0)
        if node.kind == "block":
            width[depth[node]] = width.get(depth[node], 0) + 1
    return max(1, min(os.cpu_count() or 1, max(width.values(), default=1)))


def _version() -> str:
    from importlib.metadata import version

    return version("chainsim")
