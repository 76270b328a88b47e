"""`chainsim render`: takes through a sketch into files."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import echo_json, leaving_at_once, naming, progress_bar, tell_of_compiling, warn
from chainsim.cli.completing import names_in_sketch
from chainsim.cli.render_text import dynamics_lines, report_line
from chainsim.cli.watching import Watched

if TYPE_CHECKING:
    from chainsim.batch.files.file_render import Progress
    from chainsim.batch.files.file_report import FileReport
    from chainsim.batch.files.render_files import Job
    from chainsim.measure.one_loudness import Aim
    from chainsim.sketch.model import Sketch


FORMATS = {"float32": "float32", "pcm24": "pcm24", "pcm16": "pcm16"}


@click.command(name="render", short_help="Send takes through a sketch into audio files.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The file to write (.wav, .flac, .ogg, .mp3); with several takes, an existing folder.",
)
@click.option("--patch", metavar="NAME", shell_complete=names_in_sketch, help="Render this patch alone, without cues.")
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="Render as it is set in this room.")
@click.option("--seat", metavar="NAME", shell_complete=names_in_sketch, help="Hear it from this seat of the house.")
@click.option("--with-band", is_flag=True, help="Mix the house's band under the feed; at a seat it plays anyway.")
@click.option(
    "--all-patches",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Render every patch alone, each into a WAV file in this folder.",
)
@click.option(
    "--loudness",
    "loudness_lufs",
    metavar="LUFS",
    type=click.FloatRange(-60.0, 0.0),
    help="Bring all files to one loudness, such as -23, by one trim each, which is told; nothing is compressed.",
)
@click.option(
    "--ceiling",
    "ceiling_dbtp",
    metavar="DBTP",
    type=click.FloatRange(-30.0, 0.0),
    help="With --loudness: largest true peak, -1 if not given; where one would be larger, all files stay quieter.",
)
@click.option("--write-trims", is_flag=True, help="With --loudness: write the trims into SKETCH.")
@click.option(
    "--probe",
    "probes",
    multiple=True,
    metavar="WIRE=FILE",
    help='Write what runs on a wire, too: a block\'s output, "input", and in forks such as "sweep_mix dry", "lane 1.2",'
    ' "sum 1"; chainsim draw SKETCH lists the wires of a sketch. May be given often.',
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
@click.option(
    "--watch", is_flag=True, help="Render again whenever the sketch, a file it names or a take is saved; Ctrl-C ends."
)
@click.option("--json", "as_json", is_flag=True, help="Print the reports as JSON.")  # fmt: skip
def command(
    sketch: Path, takes: tuple[Path, ...], output: Path | None, patch: str | None, room: str | None,
    all_patches: Path | None, loudness_lufs: float | None, ceiling_dbtp: float | None, write_trims: bool,
    probes: tuple[str, ...], sample_format: str | None, lower_to_fit: bool, record: bool, threads: int | None,
    watch: bool, as_json: bool, seat: str | None, with_band: bool,
) -> int:  # fmt: skip
    """Send each TAKE (a dry recording) through SKETCH and write what comes out.

    The result is as long as the take plus the latency and tail of the chain (or of a probed wire), at the take's sample
    rate. Cues are played.

    \b
    Examples:
      chainsim render waltz.toml solo.wav -o waltz.wav
      chainsim render waltz.toml solo.wav -o waltz.flac --probe late_gate=gated.wav
      chainsim render waltz.toml solo.wav -o waltz.wav --probe "sweep_mix dry=beside_the_filter.wav"
      chainsim render waltz.toml takes/*.wav -o rendered/
      chainsim render waltz.toml solo.wav -o waltz.wav --watch
      chainsim render evening.toml solo.wav -o chorale.wav --patch chorale --room chapel
      chainsim render evening.toml solo.wav -o back_row.wav --seat back --loudness -23
      chainsim render evening.toml solo.wav --all-patches patches/ --loudness -23
      chainsim render evening.toml solo.wav --all-patches patches/ --loudness -23 --write-trims
    """
    if output is None and all_patches is None:
        raise click.UsageError("say where the sound goes: -o FILE, or --all-patches DIR")
    if output is not None and all_patches is not None:
        raise click.UsageError("-o FILE and --all-patches DIR do not go together; choose one")
    if all_patches is not None and (patch is not None or probes):
        raise click.UsageError("--all-patches goes without --patch and --probe")
    from chainsim.measure.one_loudness import CEILING_DBTP, Aim

    if any(level is not None and math.isnan(level) for level in (loudness_lufs, ceiling_dbtp)):
        raise click.UsageError("--loudness nan: allowed -60 ... 0 LUFS; --ceiling: allowed -30 ... 0 dBTP")
    if write_trims and (loudness_lufs is None or len(takes) > 1 or room is not None or watch):
        raise click.UsageError("--write-trims goes with --loudness and one take, without --room and --watch")
    if write_trims and (seat is not None or with_band):
        raise click.UsageError("--write-trims is for the feed alone, without --seat and --with-band")
    if seat is not None and with_band:
        raise click.UsageError("--with-band is for the feed; at a seat the band plays anyway")
    if ceiling_dbtp is not None and loudness_lufs is None:
        raise click.UsageError("--ceiling goes with --loudness; a limiter in the chain holds peaks without it")
    aim = None if loudness_lufs is None else Aim(loudness_lufs, CEILING_DBTP if ceiling_dbtp is None else ceiling_dbtp)
    tell_of_compiling()
    options = {
        "probes": dict(_probe(p) for p in probes), "sample_format": sample_format, "lower_to_fit": lower_to_fit,
        "record": record, "threads": threads, "seat": seat, "with_band": with_band,
    }  # fmt: skip
    jobs = partial(_jobs, sketch, takes, output, all_patches, patch, room)
    files = Watched([sketch], takes)
    files.look()
    code = _render_all(sketch, jobs(), aim, options, write_trims, as_json)
    while watch:
        named = ", ".join(map(str, [sketch, *takes]))
        click.echo(f"watching {named}, and the files named there; Ctrl-C ends", err=True)
        files.wait()
        files.look()
        code = _render_watched(sketch, jobs, aim, options, as_json)
    return code


def _jobs(
    sketch_path: Path, takes: tuple[Path, ...], output: Path | None, all_patches: Path | None, patch: str | None,
    room: str | None,
) -> list[Job]:  # fmt: skip
    """What is to be rendered: sketch, take and target of each."""
    from chainsim.batch.compiling import compile_ahead
    from chainsim.batch.files.render_files import Job
    from chainsim.errors import SketchError
    from chainsim.sketch.loading import load_sketch

    sketch = load_sketch(sketch_path)
    sketch = sketch if room is None else sketch.in_room(room)
    sketch = sketch if patch is None else sketch.alone(patch)
    with leaving_at_once():
        compile_ahead([sketch])
    if all_patches is None:
        assert output is not None
        return [Job(sketch, take, target) for take, target in zip(takes, _targets(takes, output), strict=True)]
    if not sketch.patches:
        raise SketchError(f"{sketch_path.name}: has no patches to render one by one")
    return _patch_jobs(sketch, takes, all_patches)


def _patch_jobs(sketch: Sketch, takes: tuple[Path, ...], folder: Path) -> list[Job]:
    """One file a patch and take, all as wide as the widest, so that they compare; the folder is made if need be."""
    from chainsim.audio.whole import writing
    from chainsim.audio.writing import refuse_same_file
    from chainsim.batch.files.render_file import widest_patch
    from chainsim.batch.files.render_files import Job
    from chainsim.errors import AudioError

    jobs: list[Job] = []
    for take in takes:
        width = None
        with suppress(AudioError):  # told when its turn comes
            width = widest_patch(sketch, take)
        for name in sketch.patches:
            safe = re.sub(r"[^\w .-]", "_", name).strip(" .") or "_"
            target = folder / (f"{safe}.wav" if len(takes) == 1 else f"{take.stem} {safe}.wav")
            if target in [job.target for job in jobs]:
                raise AudioError(f"{target}: two patches or takes would become this file; rename one")
            refuse_same_file(target, takes)
            jobs.append(Job(sketch.alone(name), take, target, width))
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    return jobs


def _render_all(
    sketch_path: Path, jobs: list[Job], aim: Aim | None, options: dict[str, Any], write_trims: bool, as_json: bool
) -> int:
    """Render one after the other; the exit code says whether all, some or none could be."""
    from chainsim.batch.files.render_files import render_files
    from chainsim.errors import AudioError

    if len(jobs) > 1 and options["probes"]:
        raise AudioError("--probe names one file, so it goes with one take")

    @contextmanager
    def around(job: Job) -> Iterator[Progress]:
        label = job.take.name if job.sketch.patch is None else job.sketch.patch
        with naming(sketch_path, job.sketch.patch), progress_bar(label) as progress:
            yield progress

    reports: list[FileReport] = []
    errors: list[str] = []
    told: set[str] = set()
    for outcome in render_files(jobs, around, aim, **options):
        if outcome.report is None:
            assert outcome.error is not None
            if len(jobs) == 1:
                raise outcome.error
            errors += [line for line in str(outcome.error).splitlines() if line not in errors]
            continue
        report = outcome.report
        reports.append(report)
        of_this = f"{report.output}: " if len(jobs) > 1 else ""
        shared = {*outcome.job.sketch.warnings, *outcome.of_all}
        warn(w if w in shared else f"{of_this}{w}" for w in report.warnings if w not in told)
        told |= shared
        if not as_json:
            click.echo(report_line(report))
    if as_json:
        echo_json({"rendered": [r.to_dict() for r in reports], "failed": errors})
    elif aim is not None and len(reports) > 1:
        click.echo("\n".join(dynamics_lines(reports)))
    for error_line in errors:
        click.echo(f"chainsim: {error_line}", err=True)
    if write_trims and reports:
        _write_trims(sketch_path, [(job.sketch.patch, job.sketch.base.trim_db) for job in jobs], reports)
    return 0 if not errors else 1 if reports else 2


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


def _write_trims(sketch_path: Path, before: list[tuple[str | None, float]], reports: list[FileReport]) -> None:
    """Write into the sketch what each patch was trimmed by, beside what it was before, if it can be read then."""
    from chainsim.audio.writing import write_text_whole
    from chainsim.sketch.loading import parse_sketch
    from chainsim.sketch.trimming import with_trims

    written = dict(before)
    trims = {r.patch: written[r.patch] + r.trim_db for r in reports if math.isfinite(r.integrated_lufs)}
    with naming(sketch_path), sketch_path.open(encoding="utf-8-sig", newline="") as file:  # line ends stay as they are
        text = with_trims(file.read(), trims)
    parse_sketch(text, name=f"{sketch_path.name} as it would be", folder=sketch_path.resolve().parent)
    write_text_whole(sketch_path, text)
    click.echo(f"{sketch_path}: {len(trims)} x trim_db written", err=True)


def _probe(text: str) -> tuple[str, Path]:
    block, equals, path = text.partition("=")
    if not equals or not block or not path:
        raise click.UsageError(f"--probe {text}: write it as WIRE=FILE, such as --probe late_gate=gated.wav")
    return block, Path(path)


def _render_watched(
    sketch_path: Path, jobs: Callable[[], list[Job]], aim: Aim | None, options: dict[str, Any], as_json: bool
) -> int:
    from chainsim.errors import ChainsimError

    try:
        return _render_all(sketch_path, jobs(), aim, options, False, as_json)
    except ChainsimError as error:
        for line in str(error).splitlines():
            click.echo(f"chainsim: {line}", err=True)
        return 2
