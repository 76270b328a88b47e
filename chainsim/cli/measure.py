"""`chainsim measure`: figures of what was recorded or rendered. Every mode has a file of its own in this folder."""

from __future__ import annotations

from pathlib import Path

import click

from chainsim.cli.completing import names_in_sketch


@click.command(name="measure", short_help="Measure files, how true harmonies are, or a chain by test signals.")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--harmony", is_flag=True, help="Every voice of SKETCH's pitch shifters, alone, against TAKE.")
@click.option("--chain", is_flag=True, help="What SKETCH's chain, and every patch, does to test signals.")
@click.option("--pair", is_flag=True, help="A box, from a DRY recording and the WET one that went through it.")
@click.option("--test-signal", is_flag=True, help="Write a signal to FILE, to be sent through a box for --pair.")
@click.option("--write", metavar="BLOCK_TYPE", help="With --pair: a sketch of the nearest block of that type.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="With --write: the sketch goes to this file.")
@click.option("--patch", metavar="NAME", shell_complete=names_in_sketch, help="With --chain: this patch alone.")
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="With --chain: as it is set in this room.")
@click.option("--impulse", is_flag=True, help="FILE is an impulse response: its decay as well, in octaves.")
@click.option("--plot", type=click.Path(path_type=Path), help="Draw what was measured of FILE, chain or box (.png).")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
def command(
    files: tuple[Path, ...], harmony: bool, chain: bool, pair: bool, test_signal: bool, write: str | None,
    output: Path | None, patch: str | None, room: str | None, impulse: bool, plot: Path | None, as_json: bool,
) -> int | None:  # fmt: skip
    """Measure audio files, each by itself: loudness after ITU-R BS.1770-5 and EBU Tech 3341 and 3342 (integrated,
    most short-term and momentary, range), true and sample peak, crest factor, offset, noise floor in rests, centroid
    of the spectrum, runs of clipped samples; of impulse responses EDT, T20, T30, C80 and D50 after ISO 3382-1.

    With --harmony, measure how true the harmonies of a sketch are to a take (one horn, one note at a time). Each voice
    is rendered alone, at 0 dB. Of its notes those count that are steady for long enough; cents are its error against
    the interval, mean and standard deviation; the level is that of the note in which voice and take differ most;
    pre-echo is what the voice adds before notes that follow a rest, relative to these.

    With --chain, measure a sketch and each of its patches by test signals: frequency response, level and distortion of
    a sine from -70 to 0 dBFS, latency, decay and echoes, noise with nothing in, where a gate opens and closes, and the
    largest gain over the dry sound with its frequency, which says what will howl first and is no promise.

    With --pair, measure a box of your own: record something dry and what the box makes of it, both from one start.
    Found, each with the interval in which it lies 19 times of 20, are latency, polarity, drift of the clocks, gain,
    noise, frequency response, delay time and feedback, decay time, gate, tremolo or vibrato, compression; what the
    recordings don't show is "not found". Any take will do; the signal of --test-signal tells most. With --write, the
    nearest block of a type is searched for and written as a sketch, with what it leaves unexplained.

    \b
    Examples:
      chainsim measure solo.wav waltz.wav
      chainsim measure waltz.wav --plot waltz.png
      chainsim measure --impulse chapel.wav --json
      chainsim measure --harmony tenths.toml solo.wav
      chainsim measure --chain evening.toml --patch waltz --plot waltz.png
      chainsim measure --pair dry.wav wet.wav
      chainsim measure --pair dry.wav wet.wav --write delay -o echo.toml
    """
    modes = {"--harmony": harmony, "--chain": chain, "--pair": pair, "--test-signal": test_signal}
    chosen = [mode for mode, on in modes.items() if on]
    if len(chosen) > 1:
        raise click.UsageError(f"{' and '.join(chosen)} do not go together; choose one")
    given = {
        "--impulse": impulse, "--plot": plot, "--patch": patch, "--room": room, "--write": write, "--output": output,
    }  # fmt: skip
    fitting = {
        "--harmony": (), "--chain": ("--plot", "--patch", "--room"), "--pair": ("--write", "--output", "--plot"),
        "--test-signal": (),
    }  # fmt: skip
    mode = chosen[0] if chosen else "files"
    for option, on in given.items():
        if on not in (None, False) and option not in fitting.get(mode, ("--impulse", "--plot")):
            raise click.UsageError(f"{option} does not go with {mode}")
    if harmony:
        from chainsim.cli import measure_harmony

        measure_harmony.harmony(files, as_json)
        return None
    if chain:
        from chainsim.cli import measure_chain

        measure_chain.chain(files, patch, room, as_json, plot)
        return None
    if pair or test_signal:
        from chainsim.cli import measure_pair

        if test_signal:
            measure_pair.signal_file(files)
        else:
            measure_pair.pair(files, as_json, write, output, plot)
        return None
    if not files:
        raise click.UsageError("say what to measure: FILE..., --harmony SKETCH TAKE, --chain SKETCH, --pair DRY WET")
    from chainsim.cli import measure_file

    return measure_file.files(files, as_json, impulse, plot)
