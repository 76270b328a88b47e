"""`chainsim draw`: the signal flow of a sketch."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import counted, leaving_at_once, naming, number, table, tell_of_compiling, warn
from chainsim.cli.completing import names_in_sketch
from chainsim.cli.output_file import check_output_file

if TYPE_CHECKING:
    from chainsim.listen.drawing.wires import WireMeasured
    from chainsim.sketch.model import Sketch, State

ENDINGS = (".svg", ".png", ".txt")


@click.command(name="draw", short_help="Draw the signal flow.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write a drawing: .svg, .png or .txt.")
@click.option("--patch", metavar="NAME", shell_complete=names_in_sketch, help="Draw this patch of a set.")
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="Draw it as it is set in this room.")
@click.option(
    "--take",
    metavar="TAKE",
    type=click.Path(path_type=Path),
    help="Play this recording through it, and write latency and loudness on the wires.",
)
def command(sketch: Path, output: Path | None, patch: str | None, room: str | None, take: Path | None) -> None:
    """Draw the signal flow of SKETCH: what follows what, what runs side by side, who listens to whom.

    Without -o it is drawn in letters. A set is drawn as written, or one patch of it. Under letters stands each wire's
    name, for chainsim render --probe; in an SVG a wire tells its name where the pointer rests on it.

    \b
    Examples:
      chainsim draw waltz.toml
      chainsim draw waltz.toml -o waltz.svg
      chainsim draw waltz.toml --take solo.wav -o waltz.png
      chainsim draw evening.toml --patch chorale --room chapel -o chorale.svg
    """
    from chainsim.listen.drawing.text_drawing import WIDTH as TEXT_WIDTH
    from chainsim.listen.drawing.text_drawing import draw_chain
    from chainsim.sketch.loading import load_sketch

    if output is not None:
        check_output_file(output, ENDINGS, [p for p in (sketch, take) if p is not None])
    loaded = load_sketch(sketch)
    patches = list(loaded.patches)
    drawn = (loaded if room is None else loaded.in_room(room)).alone(patch)
    warn(loaded.warnings)
    measured = {} if take is None else _measured(sketch, drawn, take)
    title = loaded.title if patch is None else f"{loaded.title}: {patch}"
    title = title if room is None else f"{title}, in {room}"
    drawing = draw_chain(drawn.base)
    heading = "" if title == loaded.title else f"{title}\n\n"
    text = f"{heading}{drawing}\n\n{_wire_table(drawn.base, measured)}"
    if output is None:
        click.echo(text)
        if max(map(len, drawing.splitlines())) > TEXT_WIDTH:
            click.echo("the drawing is wider than a page of letters; -o NAME.svg draws it as wide as a page")
    else:
        _write(output, drawn.base, title, text, measured)
        blocks = drawn.block_order
        click.echo(f"{output}: {counted(len(blocks), 'block')}")
    if patches and patch is None:
        click.echo(f"drawn as written; --patch draws one of {', '.join(patches)}")


def _measured(path: Path, sketch: Sketch, take: Path) -> Mapping[str, WireMeasured]:
    """Every wire, measured while the take runs through."""
    from chainsim.audio.reading import open_take
    from chainsim.listen.drawing.wires import measure_wires

    tell_of_compiling()
    with open_take(take) as opened, leaving_at_once(), naming(path, sketch.patch):
        warn(opened.warnings)
        return measure_wires(sketch, opened)


def _wire_table(state: State, measured: Mapping[str, WireMeasured]) -> str:
    """Every wire by its name, what runs there, and what was measured."""
    from chainsim.listen.drawing.named_wires import named_wires

    wires = named_wires(state)
    head: tuple[str, ...] = ("wire",)
    rows: list[tuple[str, ...]] = [(wire.name,) for wire in wires]
    if measured:
        head = ("wire", "latency", "loudness", "largest sample")
        rows = [(wire.name, *_figures(measured.get(wire.name, measured.get(wire.same_as or "")))) for wire in wires]
    lines = table(head, rows).splitlines()
    width = max(map(len, lines))
    told = zip(lines, ("what runs there", *(wire.what for wire in wires)), strict=True)
    listed = "\n".join(f"{line.ljust(width)}  {what}" for line, what in told)
    counted = "loudness as from two loudspeakers; a mono file by itself reads 3.0 LU less\n" if measured else ""
    return f'{listed}\n{counted}chainsim render --probe "WIRE=FILE" writes what runs on one'


def _figures(wire: WireMeasured | None) -> tuple[str, str, str]:
    """Latency, loudness and peak of a wire; dashes where nothing can sound on it, or no drawing has room for it."""
    if wire is None:
        return "-", "-", "-"
    latency, loudness = number(wire.latency_ms, 1, " ms"), number(wire.loudness_lufs, 1, " LUFS")
    return latency, loudness, number(wire.peak_dbfs, 1, " dBFS")


def _write(output: Path, state: State, title: str, text: str, measured: Mapping[str, WireMeasured]) -> None:
    from chainsim.audio.whole import PartFile, writing
    from chainsim.audio.writing import write_text_whole

    figures = {name: wire.figures for name, wire in measured.items()}
    ending = output.suffix.lower()
    if ending == ".txt":
        write_text_whole(output, text + "\n")
    elif ending == ".svg":
        from chainsim.listen.drawing.svg import draw_svg

        write_text_whole(
            output, draw_svg(state, title=f"Signal flow of {title}", heading=title, figures=figures, standalone=True)
        )
    else:
        from chainsim.listen.drawing.png import draw_png

        with PartFile(output) as part, writing(output):
            part.write_bytes(draw_png(state, heading=title, figures=figures))
