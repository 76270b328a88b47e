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
    An inventory; what no limit asks for may be left out:
      format = 1
      currency = "shells"
      made_elsewhere = ["trim", "room"]  # blocks or types no box has to make
      [limits]
      board_width_mm = 600               # and board_depth_mm, height_mm, gap_mm
      board_depth_mm = 350
      mass_g = 8000
      budget = 400
      latency_ms = 16
      [[gear]]                           # one such table for each box
      name = "small delay box"
      makes = ["delay", "reverb"]        # types of blocks: chainsim blocks
      at_once = 2                        # so many of them at one time
      programs = 8                       # settings it recalls by foot
      follows_tempo = true               # by taps or a clock
      keeps_dry = true                   # passes the straight sound beside its own
      pedal_inputs = 1
      front = true                       # pressed by foot: in front on the board
      latency_ms = 6
      width_mm = 72                      # plugs included
      depth_mm = 122
      height_mm = 55
      mass_g = 390
      price = 90                         # counts with owned = false alone
      owned = false
      voltage_v = 9                      # as its plate says; or power = "battery",
      current_ma = 60                    # "mains", "none"
      current = "DC"                     # or "AC"
      polarity = "centre minus"          # or "centre plus", "none"
      [[gear]]
      name = "mixer and switcher"
      splits = 3                         # lanes, each on a socket of its own
      mixes = 3                          # lanes that it sums
      loops = 4                          # boxes whose order a press changes
      power = "mains"
      width_mm = 300
      depth_mm = 90
      height_mm = 60
      mass_g = 1500
      [[supplies]]
      name = "supply under the board"
      on_board = false                   # lies elsewhere: needs no size
      mass_g = 900
      outlets = [{ voltage_v = 9, current_ma = 100, count = 4 }]

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
