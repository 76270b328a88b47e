"""`chainsim track`: the pitch of a take as a table, as MIDI notes, as a picture, and how well it was in tune."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import click

from chainsim.cli.common import counted, echo_json, number, progress_bar, table, tell_of_compiling, warn

if TYPE_CHECKING:
    from chainsim.notes.track import Track
    from chainsim.notes.tuner import Tuning
    from chainsim.sketch.model import Sketch


Spans: TypeAlias = "list[tuple[float, float]]"
"""(from, to) in seconds."""


@click.command(name="track", short_help="Follow the pitch of a take: table, MIDI notes, picture, tuning.")
@click.argument("take", type=click.Path(path_type=Path))
@click.option("--instrument", metavar="NAME", help='The horn, such as "tenor sax"; sets the range to look in.')
@click.option("--low-hz", type=float, metavar="HZ", help="Lowest pitch to look for, instead of the horn's.")
@click.option("--high-hz", type=float, metavar="HZ", help="Highest pitch to look for.")
@click.option("--csv", "csv_path", type=click.Path(path_type=Path), help="Write every estimate as a line of a table.")
@click.option("--midi", "midi_path", type=click.Path(path_type=Path), help="Write the notes as a MIDI file.")
@click.option("--as-sent", is_flag=True, help="In the MIDI file, put each event when a live converter could know it.")
@click.option(
    "--bend-range",
    "bend_range",
    type=float,
    default=12.0,
    show_default=True,
    metavar="SEMITONES",
    help="How far the MIDI file's pitch bend reaches; a note that bends further becomes another.",
)
@click.option("--pitch-names", type=click.Choice(["sounding", "written"]), help="Notes as heard, or as on the part.")
@click.option("--plot", "plot_path", type=click.Path(path_type=Path), help="Draw notes, pitch and confidence (.png).")
@click.option("--tuner", is_flag=True, help="Print the tuning moment by moment, too.")
@click.option("--a4-hz", type=float, metavar="HZ", help="Tuning: frequency of A4; 440 unless the sketch says another.")
@click.option(
    "--hysteresis-cents",
    type=float,
    default=20.0,
    show_default=True,
    metavar="CENTS",
    help="How much further than half a semitone a note may drift before it is the next one.",
)
@click.option("--sketch", "sketch_path", type=click.Path(path_type=Path), help="Take horn, tuning and tempo from it.")
@click.option("--tempo-bpm", type=float, metavar="BPM", help="Tempo of the MIDI file; 120 unless the sketch says.")
@click.option("--json", "as_json", is_flag=True, help="Print everything but the estimates as JSON.")  # fmt: skip
def command(
    take: Path, instrument: str | None, low_hz: float | None, high_hz: float | None, csv_path: Path | None,
    midi_path: Path | None, as_sent: bool, bend_range: float, pitch_names: str | None, plot_path: Path | None,
    tuner: bool, a4_hz: float | None, hysteresis_cents: float, sketch_path: Path | None, tempo_bpm: float | None,
    as_json: bool,
) -> None:  # fmt: skip
    """Follow the pitch of TAKE (one horn, one note at a time).

    With a sketch that mutes, --tuner marks what was played while the feed was silent.

    The table's time_s is when each estimate could be known, so that its latency shows; f0_hz is the best guess also
    where voiced is 0.

    \b
    Examples:
      chainsim track solo.wav --instrument "alto sax" --midi solo.mid --plot solo.png
      chainsim track solo.wav --low-hz 60 --high-hz 900 --csv solo.csv
      chainsim track solo.wav --sketch waltz.toml --midi live.mid --as-sent
    """
    from chainsim.batch.tracking import track, tuning_of, write_csv, write_midi, write_plot

    range_hz = _range(low_hz, high_hz)
    if as_sent and midi_path is None:
        raise click.UsageError("--as-sent says how the MIDI file is written, so it goes with --midi FILE")
    outputs = [p for p in (csv_path, midi_path, plot_path) if p is not None]
    _refuse_twice(outputs)
    _refuse_sketch(outputs, sketch_path)
    sketch = _sketch(sketch_path)
    if sketch is not None:
        header = sketch.header
        if instrument is None and range_hz is None and (header.lowest_hz or header.highest_hz):
            range_hz = header.pitch_range_hz
        instrument = instrument or header.instrument
    if a4_hz is None:
        a4_hz = sketch.base.a4_hz if sketch is not None else 440.0
    written = (pitch_names or (sketch.header.pitch_names if sketch is not None else "sounding")) == "written"
    if written and instrument is None:
        raise click.UsageError("written pitch needs a horn: name it with --instrument, or in the sketch")
    tempi, muted = _tempi(sketch, tempo_bpm), _muted(sketch)
    tell_of_compiling()
    with progress_bar(take.name) as progress:
        found = track(
            take,
            instrument=instrument,
            range_hz=range_hz,
            a4_hz=a4_hz,
            hysteresis_cents=hysteresis_cents,
            bend_range_semitones=bend_range,
            progress=progress,
        )
    warn(found.warnings)
    if csv_path is not None:
        write_csv(found, csv_path)
    if midi_path is not None:
        write_midi(found, midi_path, as_sent=as_sent, written=written, tempi=tempi, bend_range_semitones=bend_range)
    if plot_path is not None:
        write_plot(found, plot_path, written=written)
    tuning = tuning_of(found)
    if as_json:
        echo_json(_plain(found, tuning, written, muted))
    else:
        click.echo("\n".join(_lines(found, tuning, written)))
        if tuner and tuning.notes:
            click.echo("\n" + _readings(found, tuning, written, muted))


def _range(low_hz: float | None, high_hz: float | None) -> tuple[float, float] | None:
    if low_hz is None and high_hz is None:
        return None
    if low_hz is None or high_hz is None:
        raise click.UsageError("--low-hz and --high-hz go together")
    return low_hz, high_hz


def _refuse_twice(paths: list[Path]) -> None:
    for path in paths:
        if paths.count(path) > 1:
            raise click.UsageError(f"{path}: two outputs would be one file")


def _refuse_sketch(outputs: list[Path], sketch: Path | None) -> None:
    for path in outputs:
        with suppress(OSError):
            if sketch is not None and path.samefile(sketch):
                raise click.UsageError(f"{path}: is the sketch itself; choose another name to write to")


def _sketch(path: Path | None) -> Sketch | None:
    from chainsim.sketch.loading import load_sketch

    return None if path is None else load_sketch(path)


def _tempi(sketch: Sketch | None, tempo_bpm: float | None) -> list[tuple[float, float]]:
    """The tempo option, or the tempo of the sketch with its cues."""
    from chainsim.sketch.timeline import timeline

    if tempo_bpm is not None:
        if not 20.0 <= tempo_bpm <= 400.0:
            raise click.UsageError(f"--tempo-bpm = {tempo_bpm:g} bpm, allowed 20 ... 400 bpm")
        return [(0.0, tempo_bpm)]
    if sketch is None:
        return [(0.0, 120.0)]
    return [(at_s, state.tempo_bpm) for at_s, state in timeline(sketch)]


def _muted(sketch: Sketch | None) -> Spans:
    """When the sketch mutes the feed."""
    from chainsim.sketch.timeline import muted_spans

    return [] if sketch is None else muted_spans(sketch)


def _within(time_s: float, spans: Spans) -> bool:
    return any(begin_s <= time_s < end_s for begin_s, end_s in spans)


def _readings(found: Track, tuning: Tuning, written: bool, muted: Spans) -> str:
    """What a tuner shows, moment by moment; it goes on while the feed is muted."""
    rows = [
        (
            f"{r.time_s:.2f}",
            _name(r.midi, found, written),
            f"{r.cents:+.1f}",
            *(["muted" if _within(r.time_s, muted) else ""] if muted else []),
        )
        for r in tuning.readings
    ]
    return table(("time s", "note", "cents", *(["feed"] if muted else [])), rows)


def _lines(found: Track, tuning: Tuning, written: bool) -> Iterator[str]:
    horn = f" ({found.horn.name})" if found.horn is not None else ""
    folded = ", left and right folded to their mean" if found.channels == 2 else ""
    yield f"{found.take}: {found.duration_s:.1f} s{folded}"
    yield f"looked for {found.range_hz[0]:.1f} ... {found.range_hz[1]:.1f} Hz{horn}"
    names = f"as written for {found.horn.name}" if written and found.horn is not None else "as they sound"
    notes = found.played.notes
    if notes:
        heights = [n.midi for n in notes]
        span = f"{_name(min(heights), found, written)} ... {_name(max(heights), found, written)}"
        yield f"{counted(len(notes), 'note')}, {span}, {names} (C4 is middle C); voiced {found.voiced_percent:.0f} %"
        known = f"a note is known {found.known_ms:.0f} ms after its attack (median)"
        yield f"{known}; a new estimate every {_hop(found)} ms"
    else:
        yield f"no notes; voiced {found.voiced_percent:.0f} %"
    if not tuning.notes:
        yield "tuning: no note was steady and sure for long enough"
        return
    yield f"tuning: {number(tuning.median_cents, 1)} cents (median) against A4 = {tuning.a4_hz:g} Hz"
    rows = (
        (
            _name(n.midi, found, written),
            f"{n.mean_cents:+.1f}",
            f"{n.spread_cents:.1f}",
            f"{n.total_s:.1f}",
            str(n.times),
        )
        for n in tuning.notes
    )
    yield "\n" + table(("note", "mean cents", "spread", "seconds", "times"), rows)


def _hop(found: Track) -> str:
    return f"{1000.0 * found.hop_samples / found.sample_rate_hz:.1f}"


def _name(midi: int, found: Track, written: bool) -> str:
    from chainsim.music.pitch import pitch_name

    midi -= found.horn.transposition if written and found.horn is not None else 0
    return pitch_name(midi) if 0 <= midi <= 127 else str(midi)


def _plain(found: Track, tuning: Tuning, written: bool, muted: Spans) -> dict[str, Any]:
    """Plain values for JSON; MIDI numbers are sounding, names as asked for."""
    return {
        "take": found.take,
        "duration_s": found.duration_s,
        "sample_rate_hz": found.sample_rate_hz,
        "folded_to_mono": found.channels == 2,
        "instrument": found.horn.name if found.horn is not None else None,
        "range_hz": found.range_hz,
        "pitch_names": "written" if written else "sounding",
        "a4_hz": found.a4_hz,
        "hop_ms": 1000.0 * found.hop_samples / found.sample_rate_hz,
        "voiced_percent": found.voiced_percent,
        "note_known_ms": found.known_ms,
        "notes": [
            {
                "name": _name(n.midi, found, written),
                "midi": n.midi,
                "begin_s": n.begin_s,
                "end_s": n.end_s,
                "velocity": n.velocity,
            }
            for n in found.played.notes
        ],
        "tuning": {
            "median_cents": tuning.median_cents,
            "notes": [
                {
                    "name": _name(n.midi, found, written),
                    "midi": n.midi,
                    "mean_cents": n.mean_cents,
                    "spread_cents": n.spread_cents,
                    "total_s": n.total_s,
                    "times": n.times,
                }
                for n in tuning.notes
            ],
            "readings": [
                {
                    "time_s": r.time_s,
                    "name": _name(r.midi, found, written),
                    "midi": r.midi,
                    "cents": r.cents,
                    "muted": _within(r.time_s, muted),
                }
                for r in tuning.readings
            ],
        },
        "warnings": found.warnings,
    }
