"""One take through one sketch into files."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import nullcontext, suppress
from pathlib import Path

from chainsim.audio.reading import open_take
from chainsim.audio.wav import SampleFormat
from chainsim.batch.files.file_render import Progress
from chainsim.batch.files.file_report import FileReport
from chainsim.batch.files.render_files import Job, render_files
from chainsim.errors import GraphError, SketchError
from chainsim.graph.rendering import build_graph
from chainsim.measure.one_loudness import CEILING_DBTP, Aim
from chainsim.sketch.model import Sketch


def render_file(
    sketch: Sketch,
    take: str | Path,
    output: str | Path,
    *,
    probes: Mapping[str, str | Path] | None = None,
    sample_format: SampleFormat | None = None,
    lower_to_fit: bool = False,
    loudness_lufs: float | None = None,
    ceiling_dbtp: float = CEILING_DBTP,
    channels: int | None = None,
    record: bool = False,
    threads: int | None = None,
    seat: str | None = None,
    with_band: bool = False,
    progress: Progress | None = None,
) -> FileReport:
    """Render a take into a file, span by span, so that memory does not grow with its length.

    Parameters
    ----------
    sketch : Sketch
    take, output : path
        The output's suffix chooses its format.
    probes : dict of path by wire
        Where what runs on single wires goes.
    sample_format, lower_to_fit
        As for `TakeWriter`.
    loudness_lufs : float, optional
        Bring the whole file to this loudness by one trim, at most 30 dB either way; probes keep their levels.
    ceiling_dbtp : float
        With a loudness: raise the file only so far that its true peak stays under this.
    channels : int, optional
        Write so many: 2 puts a sound of one channel on both, so that it is as loud beside wider ones as it is heard.
    record : bool
        Write the report beside the output as JSON.
    threads : int, optional
        By default as many as the chain has lanes, at most one a core.
    seat, with_band
        As for `FileRender`.
    progress : callable, optional

    Raises
    ------
    AudioError, SketchError, GraphError
        Nothing is left half-written.
    """
    aim = None if loudness_lufs is None else Aim(loudness_lufs, ceiling_dbtp)
    job = Job(sketch, Path(take), Path(output), channels)
    (outcome,) = render_files(
        [job], lambda _: nullcontext(progress or _untold), aim, record=record, probes=probes,
        sample_format=sample_format, lower_to_fit=lower_to_fit, threads=threads,
        seat=seat, with_band=with_band,
    )  # fmt: skip
    if outcome.report is None:
        assert outcome.error is not None
        raise outcome.error
    return outcome.report


def _untold(done: int, whole: int) -> None:
    pass


def widest_patch(sketch: Sketch, take: str | Path) -> int:
    """Channels of the widest of a set's patches over a take; one that cannot be built counts when it is rendered."""
    with open_take(take) as source:
        rate_hz, channels = source.sample_rate_hz, source.channels
    widths = []
    for name in sketch.patches:
        with suppress(GraphError, SketchError):
            widths.append(build_graph(sketch.alone(name), rate_hz, channels).channels("out"))
    return max(widths, default=channels)
