"""`chainsim compare`: versions of a take on one page, to be heard fairly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NoReturn

import click

from chainsim.cli.common import ProgressBars, RealRange, counted, echo_json, tell_of_compiling, warn
from chainsim.cli.completing import names_in_sketch
from chainsim.cli.watching import Watched


class Excerpt(click.ParamType[tuple[float, float]]):
    """Two times, FROM,TO: seconds, or minutes and seconds as in 1:05."""

    name = "FROM,TO"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Read them."""
        try:
            begin, end = (_seconds(part) for part in str(value).split(","))
        except (ValueError, OverflowError):
            self.fail(f"{value}: write two times, such as 12.5,30 or 1:05,1:20", param, ctx)
        return begin, end


@click.command(name="compare", short_help="Put versions of a take on one page, to be heard fairly.")
@click.argument("sources", metavar="SKETCH...|FOLDER", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--take", metavar="FILE", type=click.Path(path_type=Path), help="Send this through; a FOLDER knows its take."
)
@click.option(
    "-o",
    "--output",
    metavar="FILE|DIR",
    type=click.Path(path_type=Path),
    help="The page: one .html file, or a folder with the sounds beside it.",
)
@click.option(
    "--patch",
    multiple=True,
    metavar="NAME",
    shell_complete=names_in_sketch,
    help="Of sketches with patches this one; may be given several times.",
)
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="As the sketches are set in this room.")
@click.option(
    "--page", type=click.IntRange(1), metavar="N", help="Of more than 24 versions the N-th page; the first is on each."
)
@click.option("--excerpt", "excerpt_s", type=Excerpt(), help="The part of the take that is on the page.")
@click.option(
    "--loudness",
    "loudness_lufs",
    metavar="LUFS",
    type=RealRange(-60.0, 0.0),
    default=-23.0,
    show_default=True,
    help="To which all are brought.",
)
@click.option("--lossy", is_flag=True, help="MP3 instead of FLAC: a smaller page.")
@click.option("--wires/--no-wires", default=None, help="Hear what is on each wire; by default with at most 3 versions.")
@click.option(
    "--reel",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The versions one after another in one audio file, and their running order in a text beside it.",
)
@click.option(
    "--watch",
    is_flag=True,
    help="Make the page, a folder, again when a sketch, a file it names or the take is saved; Ctrl-C ends.",
)
@click.option("--threads", type=click.IntRange(1, 64), help="Threads that render; by default one a core.")
@click.option("--json", "as_json", is_flag=True, help="Print what is on the page, and where it is, as JSON.")
def command(
    sources: tuple[Path, ...], output: Path | None, reel: Path | None, watch: bool, as_json: bool, **options: Any
) -> int:  # fmt: skip
    """Make a page on which versions of one take are switched in time, at one loudness: each SKETCH, each patch of one.

    A sketch with cues is there as written, too. Or the sounds of a FOLDER that chainsim batch or chainsim orders has
    made. The page opens from the disk in any browser, and loads nothing from elsewhere.

    \b
    Examples:
      chainsim compare waltz.toml march.toml --take solo.wav -o page.html
      chainsim compare evening.toml --take solo.wav -o page.html --patch solo --patch chorale
      chainsim compare evening.toml --take solo.wav -o page/ --watch
      chainsim compare waltz.toml --take rehearsal.wav -o page.html --excerpt 1:05,1:25 --lossy
      chainsim compare waltz.toml march.toml --take solo.wav --reel car.mp3
      chainsim compare orders/ -o page.html
      chainsim compare orders/ --reel car.mp3
    """
    _check(sources, output, reel, options["take"], watch=watch)
    tell_of_compiling()
    with TemporaryDirectory(prefix="chainsim-") as store:
        options |= {"store": store, "patches": options.pop("patch")}
        if watch:
            assert output is not None
            _watch(sources, output, reel, options, as_json=as_json)
        _make(sources, output, reel, options, as_json=as_json)
    return 0


def _make(
    sources: Sequence[Path], output: Path | None, reel: Path | None, options: dict[str, Any], *, as_json: bool,
    watched: bool = False,
) -> None:  # fmt: skip
    """Make the page and the reel, and say what they are."""
    from chainsim.batch.listening.comparing import check_take, compare_sounds, sounds_to_make, write_page
    from chainsim.batch.listening.page_notes import memory_notes
    from chainsim.batch.listening.reel import write_reel
    from chainsim.cli.compare_text import how_smaller, plain, told_of_copies, told_of_page, told_of_reel

    check_take(sources, options["take"], excerpt_s=options["excerpt_s"])
    narrowed = {name: options[name] for name in ("patches", "room", "page")}
    versions, at_keys = sounds_to_make(sources, **narrowed)
    if at_keys and output is not None:
        click.echo(f"{counted(versions, 'version')} to make, and up to {at_keys} sounds for the foot", err=True)
    with ProgressBars() as bars:
        page = compare_sounds(sources, **options, versions_only=output is None, progress=bars)
    order = None if reel is None else write_reel(page, reel)
    for line in told_of_copies(page):
        click.echo(line, err=True)
    if output is not None:
        write_page(page, output, watched=watched)
        warn(memory_notes(page.sounds))
        warn(how_smaller(output, excerpt=options["excerpt_s"] is not None, lossy=options["lossy"]))
    if as_json:
        echo_json(plain(page, output, order, reel))
        return
    if order is not None and reel is not None:
        click.echo(told_of_reel(order, reel))
    if output is not None:
        click.echo(told_of_page(page, output))


def _check(
    sources: Sequence[Path], output: Path | None, reel: Path | None, take: Path | None, *, watch: bool
) -> None:  # fmt: skip
    """Refuse what cannot be, before anything is rendered."""
    from chainsim.audio.writing import refuse_same_file
    from chainsim.batch.listening.targets import check_page_target, check_reel_target, is_one_file

    if output is None and reel is None:
        raise click.UsageError("say where the page goes: -o page.html, -o a folder, or --reel FILE")
    if watch:
        if output is None or is_one_file(output):
            raise click.UsageError("--watch makes a folder, which an open page looks into: -o DIR")
        for source in sources:
            if source.is_dir():
                raise click.UsageError(f"--watch waits for sketches to be saved; {source} is a folder of results")
    own = [source for source in (*sources, take) if source is not None and source.is_file()]
    for target in (output, reel):
        if target is not None:
            refuse_same_file(target, own)
    named = [source.resolve() for source in sources]
    warn(
        f"{source}: is named more than once, and is there once"
        for source in sources
        if named.count(source.resolve()) > 1
    )
    if output is not None:
        check_page_target(output)
    if reel is not None:
        check_reel_target(reel)


def _watch(
    sources: Sequence[Path], output: Path, reel: Path | None, options: dict[str, Any], *, as_json: bool
) -> NoReturn:  # fmt: skip
    """Make it again and again; what is wrong with a sketch is told, and the last good page stays."""
    from chainsim.errors import ChainsimError
    from chainsim.listen.page.watcher import Watching, tell_watcher

    take = [options["take"]] if options["take"] is not None else []
    files = Watched(sources, take)
    with Watching(output):
        while True:
            files.look()
            try:
                _make(sources, output, reel, options, as_json=as_json, watched=True)
            except ChainsimError as error:
                for line in str(error).splitlines():
                    click.echo(f"chainsim: {line}", err=True)
                if output.is_dir():
                    tell_watcher(output, str(error))
            click.echo(
                f"watching {', '.join(map(str, [*sources, *take]))}, and the files named there; Ctrl-C ends", err=True
            )
            files.wait()


def _seconds(text: str) -> float:
    minutes, colon, seconds = text.strip().rpartition(":")
    found = 60.0 * int(minutes) + float(seconds) if colon else float(seconds)
    if not math.isfinite(found):
        raise ValueError(text)
    return found
