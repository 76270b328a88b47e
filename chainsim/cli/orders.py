"""`chainsim orders`: the blocks of a chain in every order, and the few orders that are worth hearing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import (
    ProgressBars,
    RealRange,
    counted,
    echo_json,
    leaving_at_once,
    naming,
    refuse_file,
    results_option,
    resumable,
    running_options,
    tell_of_compiling,
    warn,
)
from chainsim.cli.completing import names_in_sketch

if TYPE_CHECKING:
    from chainsim.sketch.ordering import OrderRules


@click.command(name="orders", short_help="Try a chain's blocks in every order; group those that sound alike.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@results_option
@click.option("--swap", metavar="A,B", help="Just two orders: as written, and with these two blocks exchanged.")
@click.option("--move", metavar="A,B,...", help="Blocks that change places; by default all of the chain.")
@click.option("--first", metavar="A,...", help="Blocks that come first of those that move, in this order.")
@click.option("--last", metavar="A,...", help="Blocks that come last of those that move, in this order.")
@click.option("--before", multiple=True, metavar="A,B", help="Keep A before B; may be given several times.")
@click.option("--together", multiple=True, metavar="A,B,...", help="Keep these next to each other, in any order.")
@click.option(
    "--side-by-side", multiple=True, metavar="A,B,...", help="Try these in series, in any order, and as lanes."
)
@click.option("--sample", metavar="N", type=click.IntRange(1), help="Of very many orders try so many, drawn evenly.")
@click.option("--seed", default=0, show_default=True, help="Which sample.")
@click.option("--patch", metavar="NAME", shell_complete=names_in_sketch, help="Try the chain of this patch.")
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="As it is set in this room.")
@click.option(
    "--threshold",
    "threshold_steps",
    metavar="STEPS",
    type=RealRange(0.0, 1000.0),
    help="How far two orders of a group may be apart; 1, if not given, is just audible.",
)
@click.option(
    "--groups",
    "most_groups",
    metavar="N",
    type=click.IntRange(1),
    help="Make at most N groups: what ears have time for.",
)
@click.option(
    "--loudness",
    "loudness_lufs",
    metavar="LUFS",
    type=RealRange(-60.0, 0.0),
    help="Of the files to hear; by default as loud as the order as written is.",
)
@click.option("--all-files", is_flag=True, help="Write every order, too, at the level at which it comes.")
@running_options
def command(
    sketch: Path, takes: tuple[Path, ...], output: Path, swap: str | None, patch: str | None, room: str | None,
    threshold_steps: float | None, most_groups: int | None, sample: int | None, seed: int, all_files: bool,
    loudness_lufs: float | None, threads: int | None, scheduler: str | None, as_json: bool, **rules: Any,
) -> int:  # fmt: skip
    """Send each TAKE through SKETCH with its blocks in every order, and gather orders that sound alike.

    DIR gets one sound and one sketch for each group, all equally loud, and orders.csv and orders.json with the figures
    of every order. Rules can stand in the sketch, too, in a table [orders]. A gate that opens the chain stays first
    and a reverb that closes it stays last, unless a rule or --move names it. A fork moves as a whole.

    Two orders are in one group if they differ by no more than one step, which is just audible. What DIR holds already
    is not rendered again, also after a run that was killed.

    \b
    Examples:
      chainsim orders waltz.toml solo.wav -o orders/ --swap drive,wah
      chainsim orders waltz.toml solo.wav -o orders/
      chainsim orders waltz.toml solo.wav -o orders/ --move drive,wah,plate --groups 5
      chainsim orders waltz.toml takes/*.wav -o orders/ --first squeeze --before drive,echo
      chainsim orders waltz.toml solo.wav -o orders/ --side-by-side echo,plate
      chainsim orders evening.toml solo.wav -o orders/ --patch chorale --sample 200 --seed 3
    """
    refuse_file(output)
    given = _rules(rules)
    if swap is not None and (given or sample is not None):
        raise click.UsageError("--swap names all there is to try; it goes without rules and --sample")
    if swap is not None and (threshold_steps is not None or most_groups is not None):
        raise click.UsageError("--swap makes no groups of its two orders; it goes without --threshold and --groups")
    from chainsim.batch.compiling import compile_ahead
    from chainsim.batch.orders.comparing import compare_orders
    from chainsim.batch.orders.grouping import AUDIBLE_STEPS
    from chainsim.cli.orders_text import orders_text, swap_text
    from chainsim.sketch.loading import load_sketch

    pair = None if swap is None else _two("--swap", swap)
    loaded = load_sketch(sketch)
    loaded = loaded if room is None else loaded.in_room(room)
    loaded = loaded if patch is None else loaded.alone(patch)
    if scheduler is None:
        tell_of_compiling()
        with leaving_at_once():
            compile_ahead([loaded])
    threshold_steps = AUDIBLE_STEPS if threshold_steps is None else threshold_steps
    with naming(sketch, patch), resumable(output), ProgressBars() as bars:
        found = compare_orders(
            loaded, takes, output, rules=given, swap=pair, sample=sample, seed=seed,
            threshold_steps=0.0 if pair is not None else threshold_steps, most_groups=most_groups,
            every_file=all_files, loudness_lufs=loudness_lufs, threads=threads, scheduler=scheduler, progress=bars,
        )  # fmt: skip
    warn(found.warnings)
    if as_json:
        echo_json(found.to_dict())
    else:
        click.echo("\n".join(orders_text(found) if pair is None else swap_text(found)))
        sounds = sum(file is not None for group in found.groups for file in group.files)
        click.echo(f"\n{output / 'orders.csv'}, orders.json; {counted(sounds, 'sound')} to hear in {output}")
    for line in found.failed:
        click.echo(f"chainsim: {line}", err=True)
    return 1 if found.failed else 0


def _rules(given: dict[str, Any]) -> OrderRules:
    from chainsim.sketch.ordering import OrderRules

    return OrderRules(
        move=_names(given["move"]),
        first=_names(given["first"]),
        last=_names(given["last"]),
        before=tuple(_two("--before", text) for text in given["before"]),
        together=tuple(map(_names, given["together"])),
        side_by_side=tuple(map(_names, given["side_by_side"])),
    )


def _two(option: str, text: str) -> tuple[str, str]:
    names = _names(text)
    if len(names) != 2 or names[0] == names[1]:
        raise click.UsageError(f"{option} {text}: write two blocks, such as {option} drive,wah")
    return names[0], names[1]


def _names(text: str | None) -> tuple[str, ...]:
    return tuple(name for part in (text or "").split(",") if (name := part.strip()))
