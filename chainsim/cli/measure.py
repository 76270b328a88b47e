"""`chainsim measure`: figures of what was rendered; one file of this folder for every mode."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="measure", short_help="Measure harmonies: how true each voice is to the take.")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--harmony", is_flag=True, help="Every voice of SKETCH's pitch shifters, alone, against TAKE.")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON, note by note.")
def command(files: tuple[Path, ...], harmony: bool, as_json: bool) -> None:
    """Measure how true the harmonies of a sketch are to a take (one horn, one note at a time).

    Each voice is rendered alone, at 0 dB. Of its notes those count that are steady for long enough; cents are its error
    against the interval, mean and standard deviation; the level is that of the note in which voice and take differ
    most; pre-echo is what the voice adds before notes that follow a rest, relative to these.

    \b
    Example:
      chainsim measure --harmony tenths.toml solo.wav
    """
    if harmony:
        from chainsim.cli import measure_harmony

        return measure_harmony.harmony(files, as_json)
    raise click.UsageError("say what to measure: --harmony SKETCH TAKE, the voices of a sketch against a take")
