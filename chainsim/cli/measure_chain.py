"""`chainsim measure --chain SKETCH`: what a chain does to test signals, patch by patch."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING

import click

from chainsim.cli.common import echo_json, leaving_at_once, naming, number, progress_bar, table, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.batch.chain.chain_measuring import ChainReport
    from chainsim.measure.chain_figures import ChainFigures, Latency
    from chainsim.measure.filter_response import FilterResponse
    from chainsim.measure.gate_ramps import GateFigures
    from chainsim.measure.sine_distortion import SineFigures
    from chainsim.measure.tail import Tail

BANDS_A_LINE = 10
WIDTH = 118
TABLE_DBFS = -20.0
SILENCE_DB = -200.0
SLOWS = 1.1
WHY_NO_DECAY = {
    "echoes": "which leave no decay time",
    "ringing": "{}, as a filter's ringing is: no decay time",
    "late": "{}, most of it late and at once, as echoes come that something smears: no decay time",
    "bent": "{}, but in no straight line (echoes, voices, or a gate): no decay time",
}
CAUTION = (
    "The largest gain says what will howl first, and is no promise: microphone, loudspeaker and room decide when."
    "\nFeedback can jump in level: keep a hand on the fader, mind your ears, and raise levels slowly."
)


def chain(files: Sequence[Path], patch: str | None, room: str | None, as_json: bool, plot: Path | None) -> None:
    """Print what a sketch's chain, or every patch of it, does to test signals."""
    from chainsim.batch.chain.chain_measuring import check_plot, measure_chain, write_plot
    from chainsim.sketch.loading import load_sketch

    if len(files) != 1:
        raise click.UsageError(f"--chain takes one file, SKETCH; found {len(files)}")
    path = files[0]
    if plot is not None:
        check_plot(plot, path)
    sketch = load_sketch(path) if room is None else load_sketch(path).in_room(room)
    tell_of_compiling()
    with leaving_at_once(), progress_bar(path.name) as progress, naming(path):
        report = measure_chain(sketch, patch, progress=progress)
    warn(report.warnings)
    if plot is not None:
        write_plot(report, plot)
    if as_json:
        echo_json(report.to_dict())
    else:
        click.echo("\n".join(_lines(report)))


def _lines(report: ChainReport) -> Iterator[str]:
    room = "" if report.room is None else f" (room: {report.room})"
    yield f"{report.title}{room}: test signals of {report.sample_rate_hz:.0f} Hz, one channel in"
    for figures in report.patches:
        yield ""
        yield from _tables(figures)
        yield from (fill(line, WIDTH, initial_indent="  ", subsequent_indent="    ") for line in _sentences(figures))
    if len(report.patches) > 1:
        yield "\n" + _overview(report.patches)
    yield "\n" + CAUTION


def _tables(figures: ChainFigures) -> Iterator[str]:
    yield figures.name
    yield from _response(figures.response)
    yield from _steps(figures.steps, figures.sine_hz)


def _sentences(figures: ChainFigures) -> Iterator[str]:
    yield f"latency: {_latency(figures.latency)}"
    yield f"tail: {_tail(figures.tail)}"
    noise = figures.noise
    dc = "" if noise.dc_dbfs == -math.inf else f", DC {noise.dc_dbfs:.1f} dBFS"
    if noise.rms_dbfs == -math.inf:
        yield f"with nothing in: silence, 20 Hz to 20 kHz{dc}"
    else:
        levels = f"{noise.rms_dbfs:.1f} dBFS rms, A-weighted {noise.a_weighted_dbfs:.1f} dBFS"
        yield f"with nothing in: {levels}, 20 Hz to 20 kHz{dc}"
    yield from map(_gate, figures.gates)
    largest = figures.largest
    if math.isnan(largest.gain_db):
        yield "largest gain over the dry sound: cannot be told"
    else:
        where = "" if largest.controllers == "as they move" else f", controllers {largest.controllers}"
        quiet = (
            f", for quiet sound ({largest.level_dbfs:.0f} dBFS rms)"
            if largest.level_dbfs < figures.response.level_dbfs
            else ""
        )
        at = f"{largest.gain_db:+.1f} dB at {largest.freq_hz:.0f} Hz{where}{quiet}"
        gain = "silence" if largest.gain_db < SILENCE_DB else at
        yield f"largest gain over the dry sound, 50 Hz to 16 kHz: {gain}"
    if figures.moves:
        moved = (
            f"it moves: 0.3 s later a click's response differs by {figures.change_db:.0f} dB; curves are averages, and"
        )
        yield moved + " levels and distortion of the sine those of one moment"
    for remark in figures.remarks:
        yield f"note: {remark}"


def _response(response: FilterResponse) -> Iterator[str]:
    yield f"  response in third octaves, to broadband sound of {response.level_dbfs:g} dBFS rms:"
    gains = list(zip(response.bands, response.gain_db.tolist(), strict=True))
    for first in range(0, len(gains), BANDS_A_LINE):
        line = gains[first : first + BANDS_A_LINE]
        yield "    Hz " + "".join(f"{band.nominal_hz:>7g}" for band, _ in line)
        yield "    dB " + "".join(f"{_gain(gain):>7}" for _, gain in line)


def _gate(gate: GateFigures) -> str:
    closed = "silent" if gate.closed_gain_db == -math.inf else f"{gate.closed_gain_db:.1f} dB"
    chatter = f"; opened {gate.openings} times on one way up and down" if gate.openings > 1 else ""
    if math.isnan(gate.closed_gain_db):
        did = "is always open"
    elif gate.openings == 0 and gate.closings == 0:
        did = f"does not open, closed {closed}"
    else:
        opens = "open from the start" if math.isnan(gate.opens_dbfs) else f"opens at {gate.opens_dbfs:.1f} dBFS"
        closes = "does not close" if math.isnan(gate.closes_dbfs) else f"closes at {gate.closes_dbfs:.1f} dBFS"
        did = f"{opens}, {closes} (peaks of the sine), closed {closed}{chatter}"
    return f"gate {gate.name}: {did}"


def _gain(gain_db: float) -> str:
    return "off" if gain_db == -math.inf else number(gain_db)


def _steps(steps: Sequence[SineFigures], sine_hz: float) -> Iterator[str]:
    yield f"  sine of {sine_hz:.0f} Hz, dBFS:"
    yield "    in    " + "".join(f"{step.in_dbfs:>7.0f}" for step in steps)
    yield "    out   " + "".join(f"{_gain(step.out_dbfs):>7}" for step in steps)
    for label, values in (
        ("THD %", [step.thd_percent for step in steps]),
        ("THD+N %", [step.thd_n_percent for step in steps]),
    ):
        if not all(map(math.isnan, values)):
            yield f"    {label:<6}" + "".join(f"{_percent(value):>7}" for value in values)[len(label) > 6 :]


def _percent(value: float) -> str:
    if math.isnan(value):
        return "-"
    return f"{value:.3f}" if value < 10.0 else f"{value:.1f}"


def _latency(latency: Latency) -> str:
    least, most = latency.reported_ms
    said = f"{least:.2f} ms" if least == most else f"{least:.2f} to {most:.2f} ms by different ways"
    parts = [f"{said} as reported"]
    if latency.noise_ms is not None:
        parts.append(f"noise arrives after {latency.noise_ms:.2f} ms (correlation {latency.correlation:.2f})")
    if latency.longest_ms is not None:
        parts.append(f"and by the longest way after {latency.longest_ms:.2f} ms")
    if latency.click_ms is not None:
        parts.append(f"a click after {latency.click_ms:.2f} ms")
    return ", ".join(parts)


def _tail(tail: Tail | None) -> str:
    if tail is None:
        return "cannot be told"
    times = [
        f"{name} {time_s:.2f} s"
        for name, time_s in (("EDT", tail.edt_s), ("T20", tail.t20_s), ("T30", tail.t30_s))
        if math.isfinite(time_s)
    ]
    if math.isfinite(tail.mid_s):
        times.append(f"{tail.mid_s:.2f} s at 500 Hz and 1 kHz")
    echoes = tail.echoes
    if echoes is not None and math.isfinite(echoes.spacing_ms):
        falls = f", each {echoes.fall_db:.1f} dB quieter" if math.isfinite(echoes.fall_db) else ""
        many = "echoes every" if falls else "one echo after"
        times.append(f"{many} {echoes.spacing_ms:.1f} ms{falls} ({echoes.levels_db[0]:+.1f} dB)")
    elif echoes is not None:
        several = zip(echoes.times_ms[:4], echoes.levels_db, strict=False)
        times.append("echoes at " + ", ".join(f"{at:.0f} ms ({level:+.0f} dB)" for at, level in several))
    if tail.no_decay is not None:
        times.append(WHY_NO_DECAY[tail.no_decay].format(f"30 dB down after {tail.fallen_s:.2f} s"))
    elif tail.t30_s > SLOWS * tail.t20_s:
        times.append("slower as it goes on")
    return ", ".join(times) if times else "nothing that can be told goes on after a click"


def _overview(patches: Sequence[ChainFigures]) -> str:
    head = (
        "patch", "gain dB", "THD %", "latency ms", "decay s", "echo ms", "noise dBFS", "opens dBFS",
        "largest dB", "at Hz",
    )  # fmt: skip
    rows = []
    for figures in patches:
        step, tail = figures.step(TABLE_DBFS), figures.tail
        echoes = None if tail is None else tail.echoes
        latency = figures.latency.noise_ms
        rows.append(
            (
                figures.name,
                number(step.gain_db),
                _percent(step.thd_percent),
                "-" if latency is None else number(latency, 2),
                "-" if tail is None else number(tail.decay_s, 2),
                "-" if echoes is None else number(echoes.spacing_ms),
                "silent" if figures.noise.rms_dbfs == -math.inf else number(figures.noise.rms_dbfs),
                " ".join(number(gate.opens_dbfs) for gate in figures.gates) or "-",
                number(figures.largest.gain_db),
                number(figures.largest.freq_hz, 0),
            )
        )
    notes = f"gain and THD of a sine at {TABLE_DBFS:g} dBFS; latency as noise arrives"
    return "\n".join([table(head, rows), notes, fill(_most(patches), WIDTH)])


def _most(patches: Sequence[ChainFigures]) -> str:
    """Which patch is the loudest, and which has the largest gain."""
    broad = max(patches, key=lambda p: p.response.whole_gain_db)
    tonal = max(patches, key=lambda p: _or_least(p.step(TABLE_DBFS).gain_db))
    largest = max(patches, key=lambda p: _or_least(p.largest.gain_db))
    return (
        f"loudest: {broad.name} for broadband sound ({broad.response.whole_gain_db:+.1f} dB), {tonal.name} for the sine"
        f" ({tonal.step(TABLE_DBFS).gain_db:+.1f} dB); largest gain: {largest.name} ({largest.largest.gain_db:+.1f} dB"
        f" at {largest.largest.freq_hz:.0f} Hz)"
    )


def _or_least(value: float) -> float:
    return -math.inf if math.isnan(value) else value
