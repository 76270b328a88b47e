"""`chainsim lesson`: a page that walks through a chain, by ear."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import RealRange, counted, echo_json, leaving_at_once, naming, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.listen.lessons.excerpt import Excerpt
    from chainsim.listen.lessons.model import Lesson

ENDINGS = (".html", ".htm")
LARGE_MB = 15.0
"""What a phone or a letter takes badly."""


@click.command(name="lesson", short_help="Learn by ear why a chain sounds as it does.")
@click.argument("what", metavar="[NAME | SKETCH]", required=False)
@click.option("--take", type=click.Path(path_type=Path), help="Hear it on this take; a lesson of ours has its own.")
@click.option("--patch", metavar="NAME", help="Walk through this patch of the sketch instead of the chain as written.")
@click.option(
    "--from",
    "starts_s",
    type=RealRange(min=0.0),
    help="Where in the take to begin, in seconds.  [default: where playing begins]",
)
@click.option(
    "--lasts", "lasts_s", type=RealRange(min=1.0, max=60.0), help="How many seconds of it to hear.  [default: 6]"
)
@click.option("--lossy", is_flag=True, help="Sounds as MP3: a page a fifth of the size.")
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), help="The page to write, .html.")
@click.option("--json", "as_json", is_flag=True, help="Print the list, or what the lesson says and measured, as JSON.")
def command(
    what: str | None,
    take: Path | None,
    patch: str | None,
    starts_s: float | None,
    lasts_s: float | None,
    lossy: bool,
    output: Path | None,
    as_json: bool,
) -> None:
    """Make a page that walks through a chain: hear each step before and after, look, listen for one thing, answer.

    Without NAME the lessons of ours are listed. With a SKETCH the page walks through that sketch block by block.
    All that it says of sounds was measured on them; with your own take, the sentences are those of your take.

    \b
    Examples:
      chainsim lesson
      chainsim lesson gate-and-gain -o gate.html
      chainsim lesson latency-and-combing --take solo.wav -o comb.html
      chainsim lesson quay_hush.toml --take solo.wav -o quay_hush.html
    """
    if what is None:
        _list(as_json)
        return
    is_sketch = what.endswith(".toml") or Path(what).is_file()
    _check(is_sketch, take, patch, output, as_json)
    from chainsim.audio.writing import write_text_whole
    from chainsim.listen.lessons.page import lesson_page

    tell_of_compiling()
    with leaving_at_once():
        lesson = (
            _walk(Path(what), take, patch, starts_s, lasts_s, lossy)
            if is_sketch
            else _ours(what, take, starts_s, lasts_s, lossy)
        )
        page = lesson_page(lesson)
    if output is not None:
        write_text_whole(output, page)
    if as_json:
        echo_json(_told(lesson))
    elif output is not None:
        megabytes = len(page.encode()) / 1e6
        if megabytes > LARGE_MB and not lossy:
            warn([f"{output}: a large page, {megabytes:.0f} MB; --lossy makes it a fifth of that"])
        size = f"{megabytes:.1f} MB"
        click.echo(
            f"{output}: {lesson.title}, {counted(len(lesson.steps), 'step')},"
            f" {counted(len(lesson.sounds), 'sound')}, {size}"
        )


def _list(as_json: bool) -> None:
    from chainsim.listen.lessons.catalogue import courses

    found = courses()
    if as_json:
        echo_json([{"name": c.key, "title": c.title, "asks": c.asks, "take": c.take} for c in found])
        return
    width = max(len(c.key) for c in found)
    for course in found:
        click.echo(f"{course.key.ljust(width)}  {course.asks}")
    click.echo("\nOne of them as a page: chainsim lesson NAME -o page.html")


def _check(is_sketch: bool, take: Path | None, patch: str | None, output: Path | None, as_json: bool) -> None:
    from chainsim.errors import nearest

    if output is None and not as_json:
        raise click.UsageError("-o is missing: the page to write, such as -o lesson.html")
    if output is not None and output.suffix.lower() not in ENDINGS:
        raise click.UsageError(
            f'{output}: cannot write "{output.suffix}" files, allowed .html{nearest(output.suffix, ENDINGS)}'
        )
    if is_sketch and take is None:
        raise click.UsageError("--take is missing: a walk through a sketch needs a take to be heard on")
    if patch is not None and not is_sketch:
        raise click.UsageError("--patch is for sketches; a lesson of ours has no patches")


def _ours(name: str, take: Path | None, starts_s: float | None, lasts_s: float | None, lossy: bool) -> Lesson:
    from chainsim.listen.lessons.catalogue import find_course
    from chainsim.listen.lessons.making import make_lesson
    from chainsim.resources import take_paths

    course = find_course(name)
    own = take is None
    excerpt = _excerpt(
        take_paths()[course.take] if take is None else take,
        course.starts_s if starts_s is None and own else starts_s,
        course.lasts_s if lasts_s is None else lasts_s,
    )
    return make_lesson(course, excerpt, lossy=lossy)


def _walk(
    path: Path, take: Path | None, patch: str | None, starts_s: float | None, lasts_s: float | None, lossy: bool
) -> Lesson:
    from chainsim.listen.lessons.walk import walk_through
    from chainsim.sketch.loading import load_sketch

    assert take is not None
    sketch = load_sketch(path)
    warn(sketch.warnings)
    with naming(path, patch):
        return walk_through(sketch.alone(patch), _excerpt(take, starts_s, lasts_s), lossy=lossy)


def _excerpt(take: Path, starts_s: float | None, lasts_s: float | None) -> Excerpt:
    from chainsim.audio.reading import read_take
    from chainsim.listen.lessons.excerpt import LASTS_S, excerpt

    audio, rate_hz, warnings = read_take(take)
    both = (
        [f"{take.name}: its two channels are heard as one, their mean"]
        if audio.ndim == 2 and audio.shape[1] == 2
        else []
    )
    warn([*warnings, *both])
    return excerpt(
        audio,
        rate_hz,
        take.name,
        starts_s=starts_s,
        lasts_s=LASTS_S if lasts_s is None else lasts_s,
    )


def _told(lesson: Lesson) -> dict[str, Any]:
    return {
        "name": lesson.key,
        "title": lesson.title,
        "take": lesson.take_name,
        "steps": [
            {
                "heading": step.heading,
                "does": step.does,
                "claims": [
                    {"text": c.text, "holds": c.holds, "figures": {f.label: f.text for f in c.figures}}
                    for c in step.claims
                ],
                "listen_for": step.listen_for,
                "question": step.question,
                "answer": step.answer,
            }
            for step in lesson.steps
        ],
    }
