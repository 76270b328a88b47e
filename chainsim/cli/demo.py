"""`chainsim demo`: hear it at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import echo_json, leaving_at_once, number, progress_bar, table, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.batch.files.file_report import FileReport


@click.command(name="demo", short_help="Render presets over takes of chainsim's own, to hear it at once.")
@click.option(
    "-o",
    "--output",
    default=Path("demo_output"),
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the sound files; made if missing.  [default: demo_output]",
)
@click.option("--json", "as_json", is_flag=True, help="Print the table as JSON.")  # fmt: skip
def command(output: Path, as_json: bool) -> None:
    """Render every preset over an invented dry take that suits it, and tell what came out.

    Beside the sound of a set lies its sheet for the stage, as a page to print.

    \b
    Example:
      chainsim demo
    """
    from chainsim.audio.writing import write_text_whole
    from chainsim.batch.compiling import compile_ahead
    from chainsim.batch.files.render_file import render_file
    from chainsim.errors import AudioError
    from chainsim.listen.sheets.stage_sheet.page import sheet_page
    from chainsim.listen.sheets.stage_sheet.sheet import stage_sheet
    from chainsim.resources import preset_paths, set_take_paths, take_paths
    from chainsim.sketch.loading import load_sketch

    tell_of_compiling()
    try:
        output.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise AudioError(f"{output}: cannot be made: {error.strerror}") from None
    takes, set_takes = take_paths(), set_take_paths()
    reports: dict[str, FileReport] = {}
    sketches = {name: load_sketch(path) for name, path in preset_paths().items()}
    with leaving_at_once():
        compile_ahead(sketches.values())
    for name, sketch in sketches.items():
        own = next((path for take, path in set_takes.items() if take.startswith(name)), None)
        take = own or _take_for(sketch.header.instrument, takes)
        with progress_bar(name) as progress:
            reports[name] = render_file(sketch, take, output / f"{name}.wav", record=True, progress=progress)
        if sketch.banks:
            write_text_whole(output / f"{name}.html", sheet_page(stage_sheet(sketch)))
    if as_json:
        echo_json({name: report.to_dict() for name, report in reports.items()})
        return
    warn(f"{name}: {w}" for name, r in reports.items() for w in r.warnings)
    click.echo(
        f"Rendered {len(reports)} presets over dry takes of an invented harbour town's theatre band, all of them made"
        " by chainsim itself.\n"
    )
    head = ("preset", "take", "loudness LUFS", "LU against the take", "true peak dBTP", "latency ms", "x real time")
    click.echo(table(head, [_row(name, report) for name, report in reports.items()]))
    click.echo(f"\nListen: {output.resolve()}")
    click.echo(f"Dry:    {next(iter(takes.values())).parent}")
    click.echo("Start low: what echoes and resonates can jump in level; keep a limiter before headphones.")
    click.echo("Mains, supplies and phantom supply on stage: makers' manuals, local codes, licensed people.")


def _row(name: str, report: FileReport) -> tuple[str, ...]:
    return (
        name,
        Path(report.take).stem,
        number(report.integrated_lufs),
        number(report.louder_by_lu),
        number(report.true_peak_dbtp),
        number(report.latency_ms),
        number(report.times_real_time, 0),
    )


def _take_for(instrument: str | None, takes: dict[str, Path]) -> Path:
    wanted = (instrument or "").replace(" ", "_")
    return next((p for name, p in takes.items() if wanted and wanted in name), next(iter(takes.values())))
