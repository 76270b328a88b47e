"""`chainsim carry`: which of your boxes to carry for a set."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from chainsim.cli.common import counted, echo_json, warn
from chainsim.cli.completing import names_in_sketch
from chainsim.cli.output_file import check_output_file

if TYPE_CHECKING:
    from chainsim.listen.sheets.carry_plan.inventory import Measure
    from chainsim.listen.sheets.carry_plan.plan import CarryPlan

ENDINGS = (".html", ".txt")


@click.command(name="carry", short_help="Say which of your boxes to carry for a set.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.option(
    "--gear", "gear", required=True, type=click.Path(path_type=Path), help="Your inventory: boxes, supplies, limits."
)
@click.option("--patch", "patches", metavar="NAME", multiple=True, help="Only this patch; may be given several times.")
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="As the sketch is set in this room.")
@click.option(
    "--by",
    type=click.Choice(["boxes", "mass", "price"]),
    default="boxes",
    show_default=True,
    help="What is to be small first.",
)
@click.option("--by-hand", is_flag=True, help="Knobs may be turned between patches: no box need recall its settings.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write a page (.html) or a text (.txt) instead.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    sketch: Path,
    gear: Path,
    patches: tuple[str, ...],
    room: str | None,
    by: str,
    by_hand: bool,
    output: Path | None,
    as_json: bool,
) -> int:
    """Find the smallest part of your gear that makes the patches of SKETCH, and say what feeds it and where it lies.

    The inventory is a TOML file of your own figures: what each box makes and how many of it at once, its size and mass,
    its current at a voltage, its price; what your supplies give; and what the board, your back and your purse allow.
    Where a patch cannot be made, it says which block or which limit is in the way.

    The page needs no network and is made to be printed. Exit code 1: some patches cannot be made; 2: none of them.

    \b
    Examples:
      chainsim carry harbour_day.toml --gear gear.toml
      chainsim carry harbour_day.toml --gear gear.toml --by mass -o carry.html
      chainsim carry harbour_day.toml --gear gear.toml --patch fog_bank --patch gulls
    """
    from chainsim.audio.writing import write_text_whole
    from chainsim.listen.sheets.carry_plan.planning import carry_plan
    from chainsim.listen.sheets.carry_plan.reading import load_inventory
    from chainsim.sketch.loading import load_sketch

    if output is not None:
        check_output_file(output, ENDINGS, (sketch, gear))
    loaded = load_sketch(sketch)
    inventory = load_inventory(gear)
    warn(loaded.warnings)
    loaded = loaded if room is None else loaded.in_room(room)
    plan = carry_plan(loaded, inventory, patches, by=cast("Measure", by), by_hand=by_hand)
    if output is not None:
        write_text_whole(output, _laid_out(plan, output))
    if as_json:
        echo_json(plan.to_dict())
    elif output is None:
        click.echo(_laid_out(plan), nl=False)
    else:
        click.echo(f"{output}: {_contents(plan)}")
    return 0 if not plan.lost else 1 if plan.made else 2


def _laid_out(plan: CarryPlan, output: Path | None = None) -> str:
    from chainsim.listen.sheets.carry_plan.as_text import plan_text
    from chainsim.listen.sheets.carry_plan.page import plan_page

    as_page = output is not None and output.suffix.lower() == ".html"
    return plan_page(plan) if as_page else plan_text(plan) + "\n"


def _contents(plan: CarryPlan) -> str:
    made, wanted = len(plan.made), len(plan.made) + len(plan.lost)
    return f"{counted(len(plan.carried), 'item')} to carry, {made} of {counted(wanted, 'patch', 'patches')} made"
