"""`chainsim compare`: versions of a take on one page, to be heard fairly."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import RealRange, counted, tell_of_compiling
from chainsim.cli.completing import names_in_sketch
from chainsim.cli.watching import stamps, wait_for_saving

if TYPE_CHECKING:
    from chainsim.listen.page.model import ListeningPage


class Excerpt(click.ParamType[tuple[float, float]]):
    """Two times, FROM,TO: seconds, or minutes and seconds as in 1:05."""

    name = "FROM,TO"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Read them."""
        try:
            begin, end = (_seconds(part) for part in str(value).split(","))
        except ValueError:
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
    "--watch", is_flag=True, help="Make the page, a folder, again whenever a sketch is saved; end with Ctrl-C."
)
@click.option("--threads", type=click.IntRange(1, 64), help="Threads that render; by default one a core.")
def command(
    sources: tuple[Path, ...], output: Path | None, reel: Path | None, watch: bool, **options: Any
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
    """
    if output is None and reel is None:
        raise click.UsageError("say where the page goes: -o page.html, -o a folder, or --reel FILE")
    if watch:
        _check_watched(sources, output)
    tell_of_compiling()
    with TemporaryDirectory(prefix="chainsim-") as store:
        options |= {"store": store, "patches": options.pop("patch")}
        if watch:
            assert output is not None
            return _watched(sources, output, reel, options)
        _make(sources, output, reel, options)
    return 0


def _make(
    sources: Sequence[Path], output: Path | None, reel: Path | None, options: dict[str, Any], *, watched: bool = False
) -> None:
    """Make the page and the reel, and say what they are."""
    from chainsim.audio.writing import refuse_same_file
    from chainsim.batch.listening.comparing import compare_sounds, write_page
    from chainsim.batch.listening.reel import write_reel

    take = options["take"]
    own = [source for source in (*sources, take) if source is not None and source.is_file()]
    for target in (output, reel):
        if target is not None:
            refuse_same_file(target, own)
    page = compare_sounds(sources, **options)
    if reel is not None:
        order = write_reel(page, reel)
        click.echo(order.text)
        click.echo(f"{reel}: {_length(order.seconds)}; its running order is in {reel.with_suffix('.txt')}")
    if output is not None:
        write_page(page, output, watched=watched)
        click.echo(_told(page, output))


def _told(page: ListeningPage, output: Path) -> str:
    versions = counted(len(page.cards), "version")
    seconds = max(sound.frames for sound in page.sounds) / page.sample_rate_hz
    entry = output if output.is_file() else output / "index.html"
    files = [output] if output.is_file() else [path for path in output.rglob("*") if path.is_file()]
    size = sum(path.stat().st_size for path in files) / 1e6
    return f"{entry}: {versions}, {_length(seconds)}, {size:.1f} MB; open it in a browser"


def _check_watched(sources: Sequence[Path], output: Path | None) -> None:
    from chainsim.batch.listening.comparing import is_one_file

    if output is None or is_one_file(output):
        raise click.UsageError("--watch makes a folder, which an open page looks into: -o DIR")
    for source in sources:
        if source.is_dir():
            raise click.UsageError(f"--watch waits for sketches to be saved; {source} is a folder of results")


def _watched(sources: Sequence[Path], output: Path, reel: Path | None, options: dict[str, Any]) -> int:
    """Make it again and again; what is wrong with a sketch is told, and the last good page stays."""
    from chainsim.errors import ChainsimError
    from chainsim.listen.page.writing import tell_watcher

    while True:
        seen = stamps(sources)
        try:
            _make(sources, output, reel, options, watched=True)
        except ChainsimError as error:
            for line in str(error).splitlines():
                click.echo(f"chainsim: {line}", err=True)
            if output.is_dir():
                tell_watcher(output, str(error))
        click.echo(f"watching {', '.join(map(str, sources))}; Ctrl-C ends", err=True)
        wait_for_saving(sources, seen)


def _seconds(text: str) -> float:
    minutes, colon, seconds = text.strip().rpartition(":")
    return 60.0 * int(minutes) + float(seconds) if colon else float(seconds)


def _length(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds < 90.0 else f"{int(seconds // 60)} min {round(seconds % 60)} s"
