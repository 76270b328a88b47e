"""What several commands share: warnings, tables, progress."""

from __future__ import annotations

import functools
import math
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, TypeVar, cast

import click

F = TypeVar("F", bound=Callable[..., Any])


class RealRange(click.FloatRange):
    """A number from a range; "nan" is in none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it."""
        found: float = super().convert(value, param, ctx)
        if math.isnan(found):
            self.fail(f"{value} is not a number.", param, ctx)
        return found


results_option = click.option(
    "-o",
    "--output",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The folder of results: new, or of an earlier run of this version.",
)
"""Where commands that go on from earlier runs keep what they made."""


def running_options(command: F) -> F:
    """Options of what renders many sounds: --threads, --scheduler, which goes without them, and --json."""

    @functools.wraps(command)
    def checked(**given: Any) -> Any:
        if given["scheduler"] is not None and given["threads"] is not None:
            raise click.UsageError("--threads is for this machine; workers of a scheduler have their own")
        return command(**given)

    options = (
        click.option("--threads", type=click.IntRange(1, 256), help="Sounds rendered at once; by default one a core."),
        click.option(
            "--scheduler", metavar="ADDRESS", help="Let the workers of a Dask scheduler, tcp://HOST:8786, render."
        ),
        click.option("--json", "as_json", is_flag=True, help="Print what was found and what was done as JSON."),
    )
    for option in reversed(options):
        checked = option(checked)
    return cast(F, checked)


def echo_json(value: Any) -> None:
    """Print a value for programs; what is not a finite number becomes null."""
    from chainsim.plain import json_text

    click.echo(json_text(value))


@contextmanager
def leaving_at_once() -> Iterator[None]:
    """While nothing is being written, let an interrupt end the program on the spot.

    The compiler cannot be stopped halfway without complaints on stderr.
    """

    def leave(signum: int, frame: object) -> None:
        sys.stderr.write("chainsim: interrupted\n")
        sys.stderr.flush()
        os._exit(130)

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, leave)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def naming(sketch: Path, patch: str | None = None) -> Iterator[None]:
    """Put a sketch's file name, and its patch, before what is found wrong with it only when it is built."""
    from chainsim.errors import GraphError, SketchError

    try:
        yield
    except (GraphError, SketchError) as error:
        place = sketch.name if patch is None else f"{sketch.name}: patches.{patch}"
        raise SketchError(f"{place}: {line}" for line in str(error).splitlines()) from error


def refuse_file(output: Path) -> None:
    """Say that -o names a folder where it names a file."""
    if output.exists() and not output.is_dir():
        raise click.UsageError(f"-o {output}: is a file; name a folder for the results")


@contextmanager
def resumable(folder: Path) -> Iterator[None]:
    """When it is interrupted, say what is left."""
    try:
        yield
    except KeyboardInterrupt:
        click.echo(f"{folder}: what was finished is kept; the same command goes on from there", err=True)
        raise


def warn(lines: Iterable[str]) -> None:
    """Print warnings on stderr, each once."""
    for line in dict.fromkeys(lines):
        click.echo(f"warning: {line}", err=True)


def tell_of_compiling() -> None:
    """Say on stderr when the kernels are about to be compiled."""
    from chainsim.kernel import on_first_compile

    on_first_compile(lambda text: click.echo(text, err=True))


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Lay out a table: the first column to the left, the others to the right."""
    lines = [list(head), *map(list, rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(head))]
    laid = []
    for line in lines:
        cells = [c.ljust(w) if i == 0 else c.rjust(w) for i, (c, w) in enumerate(zip(line, widths, strict=True))]
        laid.append("  ".join(cells).rstrip())
    return "\n".join(laid)


def number(value: float, digits: int = 1, unit: str = "") -> str:
    """A figure for a table; silence shows as a dash."""
    return f"{round(value, digits) + 0.0:.{digits}f}{unit}" if math.isfinite(value) else "-"


def loudness(lufs: float, channels: int) -> str:
    """Loudness of a file; of one channel also as it comes from two loudspeakers, as comparisons take it."""
    from chainsim.measure.loudness import from_two_loudspeakers

    own = number(lufs, 1, " LUFS")
    if channels > 1 or not math.isfinite(lufs):
        return own
    return f"{own}, {from_two_loudspeakers(lufs, channels):.1f} from two loudspeakers"


def counted(count: int, what: str, plural: str = "") -> str:
    """So many of something, in words: "1 cue", "2 cues", "3 presses"."""
    return f"{count} {what}" if count == 1 else f"{count} {plural or what + 's'}"


@contextmanager
def progress_bar(label: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on stderr, silent when that is not a terminal; give it (done, in all)."""
    if not sys.stderr.isatty():
        yield lambda done, whole: None
        return
    with click.progressbar(length=1000, label=label, file=sys.stderr) as bar:

        def show(done: int, whole: int) -> None:
            bar.update(round(1000 * done / max(whole, 1)) - bar.pos)

        yield show


class ProgressBars:
    """A progress bar for each of the things that are done one after the other."""

    def __init__(self) -> None:
        self._stack = ExitStack()
        self._what = ""

    def __enter__(self) -> ProgressBars:
        return self

    def __exit__(self, *exception: object) -> None:
        self._stack.close()

    def __call__(self, what: str, done: int, whole: int) -> None:
        if what != self._what:
            self._stack.close()
            self._what, self._show = what, self._stack.enter_context(progress_bar(what))
        self._show(done, whole)
