"""`chainsim measure`: figures of what was rendered; today of harmonies, voice by voice."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import echo_json, naming, number, progress_bar, table, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.batch.harmonies import HarmonyReport


@click.command(name="measure", short_help="Measure harmonies: how true each voice is to the take.")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--harmony", is_flag=True, help="Every voice of SKETCH's pitch shifters, alone, against TAKE.")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON, note by note.")
def command(files: tuple[Path, ...], harmony: bool, as_json: bool) -> None:
    """Measure how true the harmonies of a sketch are to a take (one horn, one note at a time).

    Each voice is rendered alone, at 0 dB. Of its notes those count that are steady for long enough; cents are its error
    against the interval, mean and standard deviation; the level is that of the note in which voice and take differ
    most; pre-echo is what the voice adds before notes that follow a rest, relative to these.

    \b
    Example:
      chainsim measure --harmony tenths.toml solo.wav
    """
    if not harmony:
        raise click.UsageError("say what to measure: --harmony SKETCH TAKE, the voices of a sketch against a take")
    if len(files) != 2:
        raise click.UsageError(f"--harmony takes two files, SKETCH and TAKE; found {len(files)}")
    _harmony(*files, as_json)


def _harmony(sketch_path: Path, take_path: Path, as_json: bool) -> None:
    from chainsim.batch.harmonies import measure_harmonies
    from chainsim.sketch.loading import load_sketch

    sketch = load_sketch(sketch_path)
    tell_of_compiling()
    with progress_bar(take_path.name) as progress, naming(sketch_path):
        report = measure_harmonies(sketch, take_path, progress=progress)
    warn([*sketch.warnings, *report.warnings])
    if as_json:
        echo_json(report.to_dict())
    else:
        click.echo("\n".join(_harmony_lines(report)))


def _harmony_lines(report: HarmonyReport) -> Iterator[str]:
    folded = ", left and right folded to their mean" if report.channels == 2 else ""
    key = f", {report.key}" if report.key is not None else ""
    yield f"{report.take}: {report.duration_s:.1f} s{folded}{key}"
    in_key = any(voice.degrees is not None for voice in report.voices)
    head = ("voice", "plays", "notes", "mean cents", "spread", "level dB", "dropped out", "pre-echo dB")
    rows = []
    for voice in report.voices:
        error, degrees = voice.error, voice.degrees
        detuned = f" {voice.cents:+g} cents" if voice.cents else ""
        row = (
            f"{voice.block} {voice.number}",
            f"{voice.place}{detuned}",
            f"{len(error.steady_notes)} of {len(error.notes)}",
            number(error.mean_cents, 2),
            number(error.spread_cents, 2),
            "silent" if error.worst_level_db == -math.inf else number(error.worst_level_db, 2),
            str(error.dropped_out),
            "none" if error.pre_echo_db == -math.inf else number(error.pre_echo_db),
        )
        rows.append((*row, "" if degrees is None else f"{degrees.right} of {degrees.of}") if in_key else row)
    yield "\n" + table((*head, "right degree") if in_key else head, rows)
