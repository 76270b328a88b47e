"""`chainsim sheet`: one page to tape to the board."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import counted, echo_json, warn
from chainsim.cli.completing import names_in_sketch

if TYPE_CHECKING:
    from chainsim.listen.sheets.stage_sheet.sheet import StageSheet

ENDINGS = (".html", ".txt")


@click.command(name="sheet", short_help="Print the page that you tape to the board.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.option(
    "--room",
    metavar="NAME",
    shell_complete=names_in_sketch,
    help="Set it for this room alone; without it there is a column for each.",
)
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write a page (.html) or a text (.txt) instead.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(sketch: Path, room: str | None, output: Path | None, as_json: bool) -> None:
    """Print the stage sheet of SKETCH: banks and patches in order, what each switch does, and the cues.

    Then what the hands set before: delay times in ms at the tempo, intervals in written and sounding pitch, filters in
    Hz with the nearest notes, levels and decays, a column a room; what each controller moves; and where all this stands
    on your own devices, if the sketch has [marks].

    The page needs no network. For a PDF, open it in a browser and print it into a file: it is made for one page of A4
    or Letter, its letters as large as that allows.

    \b
    Examples:
      chainsim sheet harbour_day.toml
      chainsim sheet harbour_day.toml -o sheet.html
      chainsim sheet harbour_day.toml --room quay -o quay.txt
    """
    from chainsim.audio.writing import write_text_whole
    from chainsim.listen.sheets.stage_sheet.sheet import stage_sheet
    from chainsim.sketch.loading import load_sketch

    if output is not None:
        _check_output(output, sketch)
    loaded = load_sketch(sketch)
    sheet = stage_sheet(loaded, room)
    warn(loaded.warnings)
    if output is not None:
        write_text_whole(output, _laid_out(sheet, output))
    if as_json:
        echo_json(sheet.to_dict())
    elif output is None:
        click.echo(_laid_out(sheet), nl=False)
    else:
        click.echo(f"{output}: {_contents(sheet)}")


def _check_output(output: Path, sketch: Path) -> None:
    from chainsim.errors import nearest

    ending = output.suffix.lower()
    if ending not in ENDINGS:
        allowed = f"allowed {' | '.join(ENDINGS)}{nearest(ending, ENDINGS)}"
        pdf = "; for a PDF write .html and print it from a browser" if ending == ".pdf" else ""
        raise click.UsageError(f'{output}: cannot write "{ending}" files, {allowed}{pdf}')
    if output.exists() and sketch.exists() and output.samefile(sketch):
        raise click.UsageError(f"{output}: is the sketch itself; choose another name to write to")


def _laid_out(sheet: StageSheet, output: Path | None = None) -> str:
    from chainsim.listen.sheets.stage_sheet.as_text import sheet_text
    from chainsim.listen.sheets.stage_sheet.page import sheet_page

    as_page = output is not None and output.suffix.lower() == ".html"
    return sheet_page(sheet) if as_page else sheet_text(sheet) + "\n"


def _contents(sheet: StageSheet) -> str:
    patches = len({p.name for bank in sheet.banks for p in bank.patches} | {p.name for p in sheet.in_no_bank})
    return ", ".join(
        (
            counted(len(sheet.banks), "bank"),
            counted(patches, "patch", "patches"),
            counted(len(sheet.switches), "switch", "switches"),
            counted(len(sheet.cues), "cue"),
        )
    )
