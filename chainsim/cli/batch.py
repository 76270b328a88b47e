"""`chainsim batch`: every sketch, patch and value over every take, into a folder that remembers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import (
    counted,
    echo_json,
    leaving_at_once,
    progress_bar,
    refuse_file,
    results_option,
    resumable,
    running_options,
    tell_of_compiling,
    warn,
)
from chainsim.cli.completing import names_in_sketch

if TYPE_CHECKING:
    from chainsim.batch.matrix.batch_report import Batch

MOST_WARNINGS = 20


@click.command(name="batch", short_help="Render every sketch, patch and value over every take.")
@click.argument("sketches", metavar="SKETCH...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--takes",
    "folders",
    multiple=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Send every audio file of this folder through.",
)
@click.option(
    "--take", "files", multiple=True, metavar="FILE", type=click.Path(path_type=Path), help="Send this file through."
)
@results_option
@click.option(
    "--vary",
    multiple=True,
    metavar="BLOCK.SETTING=V,V,...",
    help="Try these values, spelled as in a sketch; several --vary give all combinations.",
)
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="Render as it is set in this room.")
@click.option("--no-audio", is_flag=True, help="Write the table only, no sounds.")
@running_options
def command(
    sketches: tuple[Path, ...], folders: tuple[Path, ...], files: tuple[Path, ...], output: Path, vary: tuple[str, ...],
    room: str | None, no_audio: bool, threads: int | None, scheduler: str | None, as_json: bool,
) -> int:  # fmt: skip
    """Send every take through every SKETCH, and write results.csv and results.json beside the sounds.

    Of a sketch with patches every patch is rendered alone, and the sketch as written only if it has cues. --vary sets
    a block's setting, or one at the head of the sketch; patches inherit the value unless they set their own.

    What DIR holds already is not made again, also after a run that was killed. The table tells of the last command;
    sounds of earlier ones stay.

    \b
    Examples:
      chainsim batch evening.toml --takes takes/ -o results/
      chainsim batch waltz.toml march.toml --take solo.wav -o results/ --room chapel
      chainsim batch waltz.toml --take solo.wav -o sweep/ --vary wah.q=0.7,2,5 --vary tempo_bpm=96,120
      chainsim batch waltz.toml --take solo.wav -o sweep/ --vary "echo.note=1/8 dotted,1/4" --no-audio
    """
    refuse_file(output)
    if not folders and not files:
        raise click.UsageError("say what is sent through: --takes DIR, or --take FILE")
    from chainsim.batch.compiling import compile_ahead
    from chainsim.batch.matrix.batching import plan_batch, run_plan
    from chainsim.batch.matrix.takes import takes_in
    from chainsim.errors import AudioError

    takes = [take for folder in folders for take in takes_in(folder)]
    for folder in folders:
        if folder.resolve() == (output / "audio").resolve():
            raise AudioError(
                f"{folder}: is where the results go, which would be takes next time; choose another folder"
            )
    plan = plan_batch([*sketches], [*takes, *files], output, vary=_varied(vary), room=room, audio=not no_audio)
    warn(plan.warnings)
    if plan.tasks and scheduler is None:
        tell_of_compiling()
        with leaving_at_once():
            compile_ahead(plan.missing)
    with resumable(output), progress_bar("rendering") as progress:
        batch = run_plan(plan, threads=threads, scheduler=scheduler, progress=progress)
    told = [line for line in batch.warnings if line not in plan.warnings]
    warn(told[:MOST_WARNINGS])
    if len(told) > MOST_WARNINGS:
        warn([f"and {len(told) - MOST_WARNINGS} more, in the column warnings of results.csv"])
    if as_json:
        echo_json(batch.to_dict())
    else:
        click.echo(_told(batch, output))
    for line in batch.errors:
        click.echo(f"chainsim: {line}", err=True)
    return 0 if not batch.failed else 1 if batch.rendered + batch.reused else 2


def _varied(vary: tuple[str, ...]) -> dict[str, list[Any]]:
    from chainsim.batch.matrix.sweeping import read_vary

    varied: dict[str, list[Any]] = {}
    for text in vary:
        name, values = read_vary(text)
        if name in varied:
            raise click.UsageError(f"--vary {name} stands there twice; write all its values into one")
        varied[name] = values
    return varied


def _told(batch: Batch, output: Path) -> str:
    """What was done, and where it lies."""
    sounds = batch.rendered + batch.reused + batch.failed
    whole = counted(sounds, "sound")
    whole += f" in {len(batch.rows)} rows" if sounds < len(batch.rows) else ""
    if batch.rendered == 0 and not batch.failed:
        done = f"{whole}: {batch.reused} of {sounds} were there"
    else:
        parts = [f"{batch.rendered} made"]
        parts += [f"{batch.reused} were there"] if batch.reused else []
        parts += [f"{batch.failed} failed"] if batch.failed else []
        done = f"{whole}: {', '.join(parts)}"
    if batch.block_runs < batch.single_block_runs:
        done += f"; {batch.block_runs:,} block runs instead of {batch.single_block_runs:,}"
    heard = f"; sounds in {output / 'audio'}" if any(row.file is not None for row in batch.rows) else ""
    return f"{done}\n{output / 'results.csv'}, results.json{heard}"
