"""`chainsim measure --pair DRY WET`: what a box does, from a dry recording and the one that went through it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import echo_json, number, table, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.batch.pair.fitting import PairFit
    from chainsim.batch.pair.report import PairReport
    from chainsim.measure.pair.figure import Figure

NOT_FOUND = "not found"


def pair(files: Sequence[Path], as_json: bool, write: str | None, output: Path | None, plot: Path | None) -> None:
    """Print what a box does; with `write`, the settings of our block of that type that come nearest, as a sketch."""
    from chainsim.batch.pair.measuring import measure_sounds
    from chainsim.batch.pair.recordings import read_pair

    if len(files) != 2:
        raise click.UsageError(f"--pair takes two files, DRY and WET; found {len(files)}")
    if output is not None and write is None:
        raise click.UsageError("-o does not go without --write BLOCK_TYPE")
    if write is not None:
        from chainsim.batch.pair.fitting import check_can_fit

        check_can_fit(write)
    if plot is not None:
        from chainsim.batch.pair.drawing import check_picture

        check_picture(plot, *files)
    tell_of_compiling()
    sounds = read_pair(*files)
    report = measure_sounds(sounds)
    if plot is not None:
        from chainsim.batch.pair.drawing import write_picture

        write_picture(sounds, report, plot)
    fit = None
    if write is not None:
        from chainsim.batch.pair.fitting import fit_block

        fit = fit_block(sounds, report, write)
    warn(report.notes)
    if as_json:
        echo_json(report.to_dict() if fit is None else {**report.to_dict(), "fit": fit.to_dict()})
    elif fit is None:
        click.echo("\n".join(_lines(report)))
    else:
        # The sketch alone goes to stdout, so that it can be sent into a file.
        click.echo("\n".join(_residual_lines(fit)), err=output is None)
        if output is None:
            click.echo(fit.sketch, nl=False)
    if fit is not None and output is not None:
        from chainsim.audio.whole import PartFile

        with PartFile(output) as part:
            part.write_text(fit.sketch, encoding="utf-8")


def signal_file(files: Sequence[Path]) -> None:
    """Write the signal to be sent through a box."""
    from chainsim.batch.pair.probe_signal import write_probe_signal

    if len(files) != 1:
        raise click.UsageError(f"--test-signal takes one file to write; found {len(files)}")
    output = files[0]
    seconds = write_probe_signal(output)
    click.echo(f"{output}: {seconds:.1f} s; play it through the box, record what comes out, then")
    click.echo(f"chainsim measure --pair {output} RECORDING")


def _lines(report: PairReport) -> Iterator[str]:
    yield f"{report.wet}, made of {report.dry}: {report.seconds:.1f} s at {report.sample_rate_hz:g} Hz"
    yield "\n" + table(("", "value", "19 times of 20 between"), _rows(report))
    if report.response is not None:
        bands = [band for band in report.response.bands if band.gain_db.found]
        rows = [(f"{b.centre_hz:.0f}", number(b.gain_db.value), number(b.coherence, 2)) for b in bands]
        yield "\n" + table(("third octave, Hz", "gain dB", "coherence"), rows)
        yield "other bands: the dry recording does not reach them, or noise covers them"
    if report.compression.curve_db and report.compression.ratio.found:
        yield "\n" + table(
            ("dry peak, dBFS", "gain dB"), [(number(x), number(y)) for x, y in report.compression.curve_db]
        )


def _rows(report: PairReport) -> list[tuple[str, str, str]]:
    echoes, gating, compression = report.echoes, report.gating, report.compression
    rows = [
        _row("latency", report.latency_ms, "ms", 3),
        _row("latency", report.alignment.latency_samples, "samples", 2),
        ("polarity", "inverted" if report.alignment.inverted else "kept", ""),
        _row("clock drift", report.alignment.drift_ppm, "ppm", 1),
        _row("gain", report.gain_db, "dB", 2),
        _row(f"noise of the box over {report.noise.from_hz:.0f} Hz", report.noise.dbfs, "dBFS", 1),
        _row("delay time", echoes.delay_ms, "ms", 2),
        _row("first echo, 300 Hz to 2.5 kHz", _decibels(echoes.first_gain), "dB", 1),
        _row("feedback, where the echoes' loop loses least", echoes.feedback.scaled(100.0), "%", 1),
        _row("decay time", report.tail.decay_s, "s", 2),
        _row("gate opens at", gating.threshold_db, "dBFS", 1),
        _row("gate's floor", gating.floor_db, "dB", 1),
        _row("compressor's threshold", compression.threshold_db, "dBFS", 1),
        _row("compressor's ratio", compression.ratio, ": 1", 2),
    ]
    if report.sway is not None:
        rows.append(_row(f"{report.modulation}'s rate", report.sway.rate_hz, "Hz", 3))
    if report.modulation == "tremolo" and report.sway is not None:
        rows.append(_row("tremolo's depth", report.sway.depth, "", 3))
    elif report.modulation == "vibrato":
        rows.append(_row("vibrato's depth", report.depth_cents, "cents", 1))
    else:
        rows.append(("modulation", NOT_FOUND, ""))
    return rows


def _row(name: str, figure: Figure, unit: str, digits: int) -> tuple[str, str, str]:
    if math.isnan(figure.value):
        bound = f"below {figure.high:.{digits}f} {unit}" if math.isfinite(figure.high) else NOT_FOUND
        return name, bound, ""
    if figure.value == -math.inf:
        return name, "silent", "" if figure.high == -math.inf else f"at most {figure.high:.{digits}f}"
    value = f"{round(figure.value, digits) + 0.0:.{digits}f} {unit}".rstrip()
    low, high = (f"{round(v, digits) + 0.0:.{digits}f}" for v in (figure.low, figure.high))
    return name, value, f"{low} ... {high}"


def _decibels(gain: Figure) -> Figure:
    """A gain in dB."""
    from chainsim.measure.pair.figure import Figure
    from chainsim.units import gain_to_db

    return Figure(*(gain_to_db(max(g, 0.0)) for g in (gain.value, gain.low, gain.high))) if gain.found else gain


def _residual_lines(fit: PairFit) -> Iterator[str]:
    yield f"{fit.block_type}: energy not explained {fit.residual_db:.1f} dB, of the wet sound's: {fit.verdict}"
    bands = [(f"{hz:.0f}", number(wet), number(ours), number(ours - wet)) for hz, wet, ours in fit.bands_db]
    yield table(("third octave, Hz", "wet dBFS", "block dBFS", "block over wet dB"), bands)
    yield from fit.notes
