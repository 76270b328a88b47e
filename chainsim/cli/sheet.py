"""`chainsim sheet`: pages to print: for the stage, for whoever plugs it up, for the house, and for when it fails."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import counted, echo_json, leaving_at_once, naming, progress_bar, tell_of_compiling, warn
from chainsim.cli.completing import names_in_sketch
from chainsim.cli.output_file import check_output_file

if TYPE_CHECKING:
    from chainsim.audio.reading import Take
    from chainsim.listen.sheets.document import Document
    from chainsim.sketch.model import Sketch

ENDINGS = (".html", ".txt")
KINDS = ("stage", "wiring", "house", "failures")


@dataclass(frozen=True)
class _Laid:
    """A sheet in every form: plain values, text, page, and what stands on it in a few words."""

    plain: Callable[[], dict[str, Any]]
    text: Callable[[], str]
    page: Callable[[], str]
    contents: str


@click.command(name="sheet", short_help="Print pages for the stage, for plugging, for the house, for failures.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.option(
    "--for",
    "kind",
    type=click.Choice(KINDS),
    default="stage",
    show_default=True,
    help="What the page is for.",
)
@click.option(
    "--room",
    metavar="NAME",
    shell_complete=names_in_sketch,
    help="Set it for this room alone; without it the stage sheet has a column for each.",
)
@click.option(
    "--take",
    type=click.Path(path_type=Path),
    help="Play this take through every patch, and print what it tells: levels on cables, loudness, peaks, low end.",
)
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write a page (.html) or a text (.txt) instead.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(sketch: Path, kind: str, room: str | None, take: Path | None, output: Path | None, as_json: bool) -> None:
    """Print a page of SKETCH that needs no screen.

    \b
    stage     what you tape to the board: banks and patches, what each switch
              does, the cues; delay times in ms, intervals as you read them,
              filters in Hz, a column a room; your own devices' marks
    wiring    every cable in the order of plugging, splitters, mixers, pedals;
              what to hear after each; in which order to switch on
    house     for the engineer: mono or stereo, level, phantom supply, loudest
              and quietest patch, low end, effects that are in it already
    failures  when a box gives nothing: which patches go on, the nearest way
              out under the foot, which cable to move

    The page needs no network. For a PDF, open it in a browser and print it into a file: it is made for A4 or Letter,
    for one page where its letters can be large enough.

    \b
    Examples:
      chainsim sheet harbour_day.toml
      chainsim sheet harbour_day.toml -o sheet.html
      chainsim sheet harbour_day.toml --room quay -o quay.txt
      chainsim sheet harbour_day.toml --for house --take solo.wav -o house.html
    """
    from chainsim.audio.writing import write_text_whole
    from chainsim.sketch.loading import load_sketch

    if output is not None:
        check_output_file(output, ENDINGS, [p for p in (sketch, take) if p is not None])
    if take is not None and kind == "stage":
        raise click.UsageError(f"--take tells nothing of the stage sheet; it is for --for {' | '.join(KINDS[1:])}")
    loaded = load_sketch(sketch)
    warn(loaded.warnings)
    if kind == "stage":
        laid = _stage(loaded, room)
    else:
        as_set = loaded if room is None else loaded.in_room(room)
        with naming(sketch):
            laid = _of_a_take(kind, as_set, take)
    if output is not None:
        write_text_whole(output, laid.page() if output.suffix.lower() == ".html" else laid.text() + "\n")
    if as_json:
        echo_json(laid.plain())
    elif output is None:
        click.echo(laid.text())
    else:
        click.echo(f"{output}: {laid.contents}")


def _stage(sketch: Sketch, room: str | None) -> _Laid:
    from chainsim.listen.sheets.stage_sheet.as_text import sheet_text
    from chainsim.listen.sheets.stage_sheet.page import sheet_page
    from chainsim.listen.sheets.stage_sheet.sheet import stage_sheet

    sheet = stage_sheet(sketch, room)
    patches = {p.name for bank in sheet.banks for p in bank.patches} | {p.name for p in sheet.in_no_bank}
    counts = (
        counted(len(sheet.banks), "bank"),
        counted(len(patches), "patch", "patches"),
        counted(len(sheet.switches), "switch", "switches"),
        counted(len(sheet.cues), "cue"),
    )
    return _Laid(sheet.to_dict, lambda: sheet_text(sheet), lambda: sheet_page(sheet), ", ".join(counts))


def _wiring(sketch: Sketch, take: Take | None) -> _Laid:
    from chainsim.listen.sheets.wiring_sheet.as_document import wiring_document
    from chainsim.listen.sheets.wiring_sheet.sheet import wiring_sheet

    levels_dbu: dict[str, float] = {}
    if take is not None:
        from chainsim.batch.wire_levels import wire_levels_dbu

        with progress_bar("playing") as progress:
            levels_dbu = wire_levels_dbu(sketch, take, progress)
        if not levels_dbu:
            warn(["--take: the sketch has no [levels], so what goes through its cables is not known"])
    sheet = wiring_sheet(sketch, channels=_channels(take), levels_dbu=levels_dbu)
    cables, boxes = sum(sheet.count().values()), len(sheet.boxes)
    contents = f"{counted(cables, 'cable')}, {counted(boxes, 'box', 'boxes')}"
    return _laid(sheet.to_dict, wiring_document(sheet), contents)


def _house(sketch: Sketch, take: Take | None) -> _Laid:
    from chainsim.listen.sheets.house_sheet.as_document import house_document
    from chainsim.listen.sheets.house_sheet.sheet import house_sheet

    figures = None
    if take is not None:
        from chainsim.batch.house_figures import house_figures

        with progress_bar("playing") as progress:
            figures = house_figures(sketch, take, progress)
    sheet = house_sheet(sketch, channels=_channels(take), figures=figures)
    known = "without a take's figures" if figures is None else f"{figures.seconds:.0f} s played"
    return _laid(sheet.to_dict, house_document(sheet), f"{counted(len(sheet.patches), 'patch', 'patches')}, {known}")


def _failures(sketch: Sketch, take: Take | None) -> _Laid:
    from chainsim.listen.sheets.failure_sheet.as_document import failure_document
    from chainsim.listen.sheets.failure_sheet.sheet import failure_sheet

    sheet = failure_sheet(sketch, channels=_channels(take))
    if take is not None:
        from chainsim.batch.failure_levels import louder_without

        with progress_bar("playing") as progress:
            sheet = sheet.with_levels(louder_without(sketch, sheet, take, progress))
    contents = f"{counted(len(sheet.boxes), 'box', 'boxes')}, {counted(len(sheet.patches), 'patch', 'patches')}"
    return _laid(sheet.to_dict, failure_document(sheet), contents)


_MAKERS = {"wiring": _wiring, "house": _house, "failures": _failures}


def _of_a_take(kind: str, sketch: Sketch, take: Path | None) -> _Laid:
    """A sheet to which a take may add figures."""
    from chainsim.audio.reading import open_take

    if take is None:
        return _MAKERS[kind](sketch, None)
    tell_of_compiling()
    with open_take(take) as opened, leaving_at_once():
        warn(opened.warnings)
        return _MAKERS[kind](sketch, opened)


def _channels(take: Take | None) -> int:
    """Of the microphone: one, if no take says otherwise."""
    return 1 if take is None else take.channels


def _laid(plain: Callable[[], dict[str, Any]], document: Document, contents: str) -> _Laid:
    from chainsim.listen.sheets.document_page import document_page
    from chainsim.listen.sheets.document_text import document_text

    return _Laid(plain, lambda: document_text(document), lambda: document_page(document), contents)
