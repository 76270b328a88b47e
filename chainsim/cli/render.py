"""`chainsim render`: takes through a sketch into files."""

from __future__ import annotations

import math
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import echo_json, leaving_at_once, naming, number, progress_bar, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.batch.render_file import FileReport

FORMATS = {"float32": "float32", "pcm24": "pcm24", "pcm16": "pcm16"}


@click.command(name="render", short_help="Send takes through a sketch into audio files.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(path_type=Path),
    help="The file to write (.wav, .flac, .ogg, .mp3); with several takes, an existing folder.",
)
@click.option(
    "--probe",
    "probes",
    multiple=True,
    metavar="BLOCK=FILE",
    help="Write what comes out of one block too; may be given several times.",
)
@click.option(
    "--format",
    "sample_format",
    type=click.Choice(list(FORMATS)),
    help="Sample format; WAV is 32-bit float unless this says otherwise.",
)
@click.option(
    "--lower-to-fit", is_flag=True, help="Lower the level where an integer format would clip, and say by how much."
)
@click.option("--record", is_flag=True, help="Write a small JSON record beside each file.")
@click.option("--threads", type=click.IntRange(1, 64), help="Threads for lanes side by side; by default what pays.")
@click.option("--watch", is_flag=True, help="Render again whenever the sketch is saved; end with Ctrl-C.")
@click.option("--json", "as_json", is_flag=True, help="Print the reports as JSON.")  # fmt: skip
def command(
    sketch: Path, takes: tuple[Path, ...], output: Path, probes: tuple[str, ...], sample_format: str | None,
    lower_to_fit: bool, record: bool, threads: int | None, watch: bool, as_json: bool,
) -> int:  # fmt: skip
    """Send each TAKE (a dry recording) through SKETCH and write what comes out.

    The result is as long as the take plus the chain's latency and tail, at the take's sample rate.

    \b
    Examples:
      chainsim render waltz.toml solo.wav -o waltz.wav
      chainsim render waltz.toml solo.wav -o waltz.flac --probe late_gate=gated.wav
      chainsim render waltz.toml takes/*.wav -o rendered/
      chainsim render waltz.toml solo.wav -o waltz.wav --watch
    """
    tell_of_compiling()
    options = {
        "probes": dict(_probe(p) for p in probes), "sample_format": sample_format, "lower_to_fit": lower_to_fit,
        "record": record, "threads": threads,
    }  # fmt: skip
    seen = _stamp(sketch)
    failed = _render_all(sketch, takes, output, options, as_json)
    while watch:
        click.echo(f"watching {sketch}; Ctrl-C ends", err=True)
        seen = _next_stamp(sketch, seen)
        failed = _render_watched(sketch, takes, output, options, as_json)
    return 1 if failed else 0


def _render_all(
    sketch_path: Path, takes: tuple[Path, ...], output: Path, options: dict[str, Any], as_json: bool
) -> bool:
    from chainsim.batch.compiling import compile_ahead
    from chainsim.batch.render_file import render_file
    from chainsim.errors import AudioError, ChainsimError
    from chainsim.sketch.loading import load_sketch

    sketch = load_sketch(sketch_path)
    with leaving_at_once():
        compile_ahead([sketch])
    targets = _targets(takes, output)
    if len(takes) > 1 and options["probes"]:
        raise AudioError("--probe names one file, so it goes with one take")
    reports: list[FileReport] = []
    errors = []
    for take, target in zip(takes, targets, strict=True):
        try:
            with naming(sketch_path), progress_bar(take.name) as progress:
                report = render_file(sketch, take, target, progress=progress, **options)
        except ChainsimError as error:
            if len(takes) == 1:
                raise
            errors += str(error).splitlines()
            continue
        reports.append(report)
        warn(report.warnings)
        if not as_json:
            click.echo(_line(report))
    if as_json:
        echo_json({"rendered": [r.to_dict() for r in reports], "failed": errors})
    for error_line in errors:
        click.echo(f"chainsim: {error_line}", err=True)
    return bool(errors)


def _targets(takes: tuple[Path, ...], output: Path) -> list[Path]:
    """Where each take's result goes; never over a take, and never two into one file."""
    from chainsim.audio.writing import refuse_same_file
    from chainsim.errors import AudioError

    if not output.is_dir():
        if len(takes) > 1:
            raise AudioError(f"{output}: with several takes the output is an existing folder")
        return [output]
    targets = [output / f"{take.stem}.wav" for take in takes]
    for take, target in zip(takes, targets, strict=True):
        if targets.count(target) > 1:
            raise AudioError(f"{target}: {take} and another take would both become this file; rename one")
        refuse_same_file(target, takes)
    return targets


def _line(report: FileReport) -> str:
    lowered = f", lowered by {report.lowered_by_db:.1f} dB" if report.lowered_by_db else ""
    louder = (
        f" ({round(report.louder_by_lu, 1) + 0.0:+.1f} LU against the take)"
        if math.isfinite(report.louder_by_lu)
        else ""
    )
    return (
        f"{report.output}: {report.frames / report.sample_rate_hz:.1f} s,"
        f" {number(report.integrated_lufs, 1, ' LUFS')}{louder},"
        f" peak {number(report.true_peak_dbtp, 1, ' dBTP')}{lowered},"
        f" latency {report.latency_ms:.1f} ms, {report.times_real_time:.0f} x real time"
    )


def _probe(text: str) -> tuple[str, Path]:
    block, equals, path = text.partition("=")
    if not equals or not block or not path:
        raise click.UsageError(f"--probe {text}: write it as BLOCK=FILE, such as --probe late_gate=gated.wav")
    return block, Path(path)


def _render_watched(*arguments: Any) -> bool:
    from chainsim.errors import ChainsimError

    try:
        return _render_all(*arguments)
    except ChainsimError as error:
        for line in str(error).splitlines():
            click.echo(f"chainsim: {line}", err=True)
        return True


def _stamp(path: Path) -> int:
    """When a file was last saved; -1 while there is none."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return -1


def _next_stamp(path: Path, seen: int) -> int:
    """Wait until the file has been saved since `seen`."""
    while (stamp := _stamp(path)) in (seen, -1):
        time.sleep(0.2)
    return stamp
