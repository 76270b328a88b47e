"""A take on its way through a sketch into files: streamed first, then finished at a level chosen late, or dropped."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from chainsim.audio.reading import open_take, take_hash
from chainsim.audio.wav import SampleFormat
from chainsim.audio.writing import TakeWriter, refuse_same_file
from chainsim.batch.files.file_report import FileReport
from chainsim.batch.files.metering import OutputMeter, TakeMeter, cautions
from chainsim.errors import AudioError
from chainsim.graph.build import Graph
from chainsim.graph.engine import Engine
from chainsim.graph.rendering import build_graph
from chainsim.house.listening import Heard, KeptTake, Listener
from chainsim.measure.loudness import from_two_loudspeakers
from chainsim.measure.one_loudness import Level
from chainsim.sketch.model import Sketch
from chainsim.units import Audio

Progress = Callable[[int, int], None]
"""Told (frames done, frames in all)."""


class FileRender:
    """One take, one sketch, one output and its probes; nothing is left of it unless it is finished.

    Parameters
    ----------
    sketch : Sketch
    take, output : path
        The output's suffix chooses its format.
    probes : dict of path by wire
    sample_format, lower_to_fit
        As for `TakeWriter`.
    channels : int, optional
        Write at least so many: 2 puts a sound of one channel on both.
    threads : int, optional
        By default as many as the chain has lanes, at most one a core.
    seat : str, optional
        Hear it from this seat of the sketch's house, where its band plays too.
    with_band : bool
        At the feed: mix the band under it.

    Raises
    ------
    AudioError
        If files would be written over each other, or over the take.
    """

    def __init__(
        self,
        sketch: Sketch,
        take: str | Path,
        output: str | Path,
        *,
        probes: Mapping[str, str | Path] | None = None,
        sample_format: SampleFormat | None = None,
        lower_to_fit: bool = False,
        channels: int | None = None,
        threads: int | None = None,
        seat: str | None = None,
        with_band: bool = False,
    ) -> None:
        if "out" in (probes or {}):
            raise AudioError('a probe "out" is the output itself; leave it out')
        self.sketch, self.take, self.output = sketch, take, output
        # The output is entered last and so finished first: if it is refused, the probes are dropped with it.
        self.files = {**{name: Path(p) for name, p in (probes or {}).items()}, "out": Path(output)}
        if len({p.resolve() for p in self.files.values()}) < len(self.files):
            raise AudioError(f"{output}: two outputs would be one file")
        for path in self.files.values():
            refuse_same_file(path, [take])
        self._format: dict[str, Any] = {"sample_format": sample_format, "lower_to_fit": lower_to_fit}
        self._least_channels, self._threads = channels or 1, threads
        self._seat, self._with_band = seat, with_band
        self._listener: Listener | None = None
        self._stack = ExitStack()
        self._writers: dict[str, TakeWriter] = {}
        self._about: dict[str, Any] = {}
        self._warnings: list[str] = []

    def __enter__(self) -> FileRender:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        dropped = kind or AudioError
        self._stack.__exit__(dropped, error, None)

    def run(self, progress: Progress | None = None) -> Level:
        """Stream the take through; return how loud the output is before any trim."""
        with open_take(self.take) as source, ExitStack() as open_files:
            rate_hz = source.sample_rate_hz
            graph = build_graph(self.sketch, rate_hz, source.channels, [n for n in self.files if n != "out"])
            self._dry = TakeMeter(rate_hz, source.channels)

            def read(n0: int, frames: int) -> Audio:
                x = source.read(n0, frames)
                there = max(0, min(frames, source.frames - n0))
                self._dry.add(x if there == frames else np.ascontiguousarray(x[:, :there]))
                return x

            kept = KeptTake(read)
            engine = Engine(graph, kept.read, source.frames, threads=self._threads or threads_for(graph))
            heard: Engine | Heard = engine
            width, delay = graph.outputs["out"].channels, 0
            if self._seat is not None or self._with_band:
                self._listener = open_files.enter_context(
                    Listener(self.sketch, self._seat, sample_rate_hz=rate_hz, feed_channels=width,
                             take_frames=source.frames)
                )  # fmt: skip
                heard = Heard(engine, kept, self._listener)
                width, delay = self._listener.channels, self._listener.delay_frames
            channels = max(width, self._least_channels)
            latency = [delay + math.ceil(end) for end in graph.latency]
            self._meter = OutputMeter(rate_hz, channels, source.frames + latency[1], latency[0])
            engine.warm_up()
            self._meter.add(0, np.zeros((channels, 0)))
            for name, path in self.files.items():
                wide = channels if name == "out" else graph.channels(name)
                self._writers[name] = self._stack.enter_context(TakeWriter(path, rate_hz, wide, **self._format))
            begun = time.perf_counter()
            for n0, outputs in heard.stream():
                if channels > width:
                    outputs["out"] = np.repeat(outputs["out"], channels // width, axis=0)
                for name, writer in self._writers.items():
                    writer.write(outputs[name])
                self._meter.add(n0, outputs["out"])
                if progress is not None:
                    progress(n0 + outputs["out"].shape[1], heard.frames)
            for writer in self._writers.values():
                writer.rest()
            take_s = source.frames / rate_hz
            self._about = {
                "sample_rate_hz": rate_hz,
                "channels": channels,
                "frames": heard.frames,
                "latency_ms": 1000.0 * graph.latency[0] / rate_hz,
                "tail_s": graph.tail_s,
                "times_real_time": take_s / max(time.perf_counter() - begun, 1e-9),
            }
            late = self.sketch.late_cues(take_s)
            self._warnings = [*source.warnings, *self.sketch.warnings, *late, *graph.warnings, *engine.warnings]
            self._warnings += self._listener.warnings if self._listener is not None else []
        name = self.sketch.patch or Path(self.output).name
        return Level(name, self._meter.integrated_lufs, self._meter.peaks().true_peak_dbtp, self._meter.raised_lufs)

    def finish(self, trim_db: float = 0.0, warnings: Sequence[str] = ()) -> FileReport:
        """Give the files their names, the output trimmed; `warnings` are told with those of the render."""
        self._writers["out"].trim_db = trim_db
        self._stack.close()
        lowered_by_db = self._writers["out"].lowered_by_db
        change_db = trim_db - lowered_by_db
        peaks, dynamics = self._meter.peaks(), self._meter.dynamics(self._dry)
        true_peak_dbtp = peaks.true_peak_dbtp + change_db
        louder_by_lu = self._meter.louder_by_lu(self._dry.integrated_lufs, self._dry.channels) + change_db
        return FileReport(
            take=str(self.take),
            output=str(self.output),
            probes={name: str(path) for name, path in self.files.items() if name != "out"},
            integrated_lufs=self._meter.raised_lufs(change_db),
            take_lufs=from_two_loudspeakers(self._dry.integrated_lufs, self._dry.channels),
            louder_by_lu=louder_by_lu,
            true_peak_dbtp=true_peak_dbtp,
            sample_peak_dbfs=peaks.sample_peak_dbfs + change_db,
            trim_db=trim_db,
            lowered_by_db=lowered_by_db,
            sketch=self.sketch.title,
            sketch_sha256=self.sketch.sha256,
            take_sha256=take_hash(self.take),
            version=_version(),
            patch=self.sketch.patch,
            room=self.sketch.room,
            seat=self._seat,
            against_feed_lu=self._against_feed_lu(change_db),
            dynamics=None if dynamics is None else dynamics.raised(change_db),
            warnings=[*self._warnings, *warnings, *cautions(true_peak_dbtp, louder_by_lu)],
            **self._about,
        )

    def _against_feed_lu(self, change_db: float) -> float | None:
        if self._listener is None:
            return None
        feed_lufs = from_two_loudspeakers(self._listener.feed_lufs, self._listener.feed_channels)
        louder = from_two_loudspeakers(self._meter.integrated_lufs, self._meter.channels) + change_db - feed_lufs
        return louder if math.isfinite(louder) else math.nan


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
