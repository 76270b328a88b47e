"""`chainsim measure --harmony SKETCH TAKE`: how true each voice of a harmony is to a take."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import echo_json, naming, number, progress_bar, table, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.batch.harmonies import HarmonyReport


def harmony(files: Sequence[Path], as_json: bool) -> None:
    """Print how true every voice of a sketch's pitch shifters is to a take."""
    from chainsim.batch.harmonies import measure_harmonies
    from chainsim.sketch.loading import load_sketch

    if len(files) != 2:
        raise click.UsageError(f"--harmony takes two files, SKETCH and TAKE; found {len(files)}")
    sketch_path, take_path = files
    sketch = load_sketch(sketch_path)
    tell_of_compiling()
    with progress_bar(take_path.name) as progress, naming(sketch_path):
        report = measure_harmonies(sketch, take_path, progress=progress)
    warn([*sketch.warnings, *report.warnings])
    if as_json:
        echo_json(report.to_dict())
    else:
        click.echo("\n".join(_lines(report)))


def _lines(report: HarmonyReport) -> Iterator[str]:
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
