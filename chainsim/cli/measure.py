"""`chainsim measure`: figures of what was recorded or rendered. Every mode has a file of its own in this folder."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="measure", short_help="Measure files: loudness, peaks, noise, decay; or how true harmonies are.")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--harmony", is_flag=True, help="Every voice of SKETCH's pitch shifters, alone, against TAKE.")
@click.option("--impulse", is_flag=True, help="FILE is an impulse response: its decay as well, in octaves.")
@click.option("--plot", type=click.Path(path_type=Path), help="Draw loudness, waveform and spectrum of FILE (.png).")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
def command(files: tuple[Path, ...], harmony: bool, impulse: bool, plot: Path | None, as_json: bool) -> int | None:
    """Measure audio files, each by itself: loudness after ITU-R BS.1770-5 and EBU Tech 3341 and 3342 (integrated,
    most short-term and momentary, range), true and sample peak, crest factor, offset, noise floor in rests, centroid
    of the spectrum, runs of clipped samples; of impulse responses EDT, T20, T30, C80 and D50 after ISO 3382-1.

    With --harmony, measure how true the harmonies of a sketch are to a take (one horn, one note at a time). Each voice
    is rendered alone, at 0 dB. Of its notes those count that are steady for long enough; cents are its error against
    the interval, mean and standard deviation; the level is that of the note in which voice and take differ most;
    pre-echo is what the voice adds before notes that follow a rest, relative to these.

    \b
    Examples:
      chainsim measure solo.wav waltz.wav
      chainsim measure waltz.wav --plot waltz.png
      chainsim measure --impulse chapel.wav --json
      chainsim measure --harmony tenths.toml solo.wav
    """
    modes = {"--harmony": harmony}
    chosen = [mode for mode, on in modes.items() if on]
    if len(chosen) > 1:
        raise click.UsageError(f"{' and '.join(chosen)} do not go together; choose one")
    of_files = {"--impulse": impulse, "--plot": plot is not None}
    for option, on in of_files.items():
        if on and chosen:
            raise click.UsageError(f"{option} does not go with {chosen[0]}")
    if harmony:
        from chainsim.cli import measure_harmony

        measure_harmony.harmony(files, as_json)
        return None
    if not files:
        raise click.UsageError("say what to measure: FILE..., or --harmony SKETCH TAKE")
    from chainsim.cli import measure_file

    return measure_file.files(files, as_json, impulse, plot)
