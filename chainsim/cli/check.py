"""`chainsim check`: what a chain does, and what a take is fit for, before anything is rendered."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chainsim.cli.check_foot import foot_lines
from chainsim.cli.check_house import house_lines
from chainsim.cli.check_levels import level_lines
from chainsim.cli.common import counted, echo_json, loudness, naming, number, table, tell_of_compiling
from chainsim.cli.completing import names_in_sketch

if TYPE_CHECKING:
    from chainsim.batch.checking import CheckReport, StateReport
    from chainsim.batch.playing import FoldReport, GateReport
    from chainsim.batch.take_checking import TakeReport
    from chainsim.measure.fitness import Fitness
    from chainsim.notes.tuner import Tuning

FEW_PATCHES = 4
"""Of more, only those are drawn whose chain is another one."""
HELD_OPEN = 0.8
"""Share of the rests from which on a gate's own hold and release do not explain that it is open."""


@click.command(name="check", short_help="Tell what a chain does, and what a take is fit for.")
@click.argument("sketch", type=click.Path(path_type=Path))
@click.option("--take", type=click.Path(path_type=Path), help="A dry recording to judge, and to send through.")
@click.option("--room", metavar="NAME", shell_complete=names_in_sketch, help="Check it as it is set in this room.")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
def command(sketch: Path, take: Path | None, room: str | None, as_json: bool) -> None:
    """Check SKETCH: its chain drawn, the latency and tail of every block, and whatever may surprise on stage.

    A set's cues are walked through with one foot: which presses each change takes, and whether there is time for them.
    With a take: its level, noise and room, what it is fit to judge, and what the sketch's noise gates do to its notes.

    \b
    Examples:
      chainsim check waltz.toml
      chainsim check waltz.toml --take solo.wav
      chainsim check evening.toml --room chapel
    """
    from chainsim.audio.reading import open_take
    from chainsim.batch.checking import check_sketch
    from chainsim.batch.take_checking import check_take
    from chainsim.sketch.loading import load_sketch

    loaded = load_sketch(sketch) if room is None else load_sketch(sketch).in_room(room)
    tell_of_compiling()
    with ExitStack() as stack:
        opened = stack.enter_context(open_take(take)) if take is not None else None
        with naming(sketch):
            if opened is None:
                report, take_report = check_sketch(loaded), None
            else:
                take_s = opened.frames / opened.sample_rate_hz
                report = check_sketch(loaded, opened.sample_rate_hz, opened.channels, take_s)
                take_report = check_take(loaded, opened)
    if as_json:
        echo_json({"sketch": report.to_dict(), "take": take_report.to_dict() if take_report else None})
        return
    click.echo("\n".join(_sketch_lines(report)))
    if loaded.levels is not None and take_report is None:
        click.echo("\nLevels: planned over a take of yours: --take FILE")
    if take_report is not None:
        click.echo("\n".join(_take_lines(take_report)))


def _sketch_lines(report: CheckReport) -> Iterator[str]:
    written, *patches = report.states
    yield report.title if report.room is None else f"{report.title} (room: {report.room})"
    yield (
        f"for takes of {report.sample_rate_hz:.0f} Hz, {_channels(report.take_channels)};"
        f" {_channels(1 if report.feed == 'mono' else written.out_channels)} out"
    )
    if report.key is not None:
        yield f"in {report.key}, as it sounds"
    if report.pitch_range_hz is not None:
        low_hz, high_hz = report.pitch_range_hz
        yield f"follows pitches between {low_hz:.0f} and {high_hz:.0f} Hz"
    yield f"\n{written.picture}\n"
    if written.nodes:
        yield f"{_node_table(written)}\n"
    yield from _sums(written)
    brief = [p for p in patches if p.chain_as_written] if len(patches) > FEW_PATCHES else []
    for patch in (p for p in patches if p not in brief):
        yield f'\nPatch "{patch.name}":'
        if patch.picture != written.picture:
            yield patch.picture
        yield from _sums(patch)
    if brief:
        yield from _patch_lines(brief)
    yield from foot_lines(report)
    if report.house is not None:
        yield from house_lines(report.house)
    notes = list(_worth_knowing(report))
    if notes:
        yield "\nWorth knowing:"
        yield from (f"- {note}" for note in notes)


def _node_table(state: StateReport) -> str:
    rows = []
    for node in state.nodes:
        shortest, longest = node.latency_at_output_ms
        rows.append(
            (
                node.name if node.type in node.name else f"{node.name} ({node.type})",
                f"{node.latency_ms:.2f}",
                f"{shortest:.2f}" if longest - shortest < 0.005 else f"{shortest:.2f} ... {longest:.2f}",
                _tail(node.tail_s),
                "" if node.response_ms is None else f"{node.response_ms:.0f}",
            )
        )
    return table(("block", "latency ms", "at its output ms", "tail s", "answers within ms"), rows)


def _patch_lines(patches: list[StateReport]) -> Iterator[str]:
    """One line a patch: what it engages beside what all of them do."""
    always = [n for n in patches[0].engaged if all(n in p.engaged for p in patches)]
    rows = []
    for patch in patches:
        own = [n for n in patch.engaged if n not in always]
        rows.append((patch.name, f"{patch.latency_ms[1]:.1f}", _tail(patch.tail_s), ", ".join(own) or "-"))
    yield f"\nIn every patch of this chain: {', '.join(always) or 'nothing'}"
    laid = table(("patch", "latency ms", "tail s"), [r[:3] for r in rows]).splitlines()
    yield f"{laid[0]}   also engaged"
    yield from (f"{line}   {row[3]}" for line, row in zip(laid[1:], rows, strict=True))


def _sums(state: StateReport) -> Iterator[str]:
    from chainsim.batch.checking import AIM_LATENCY_MS, WARN_LATENCY_MS

    shortest, longest = state.latency_ms
    ways = "" if longest - shortest < 0.005 else f" by the shortest way, {longest:.1f} ms by the longest"
    if longest <= AIM_LATENCY_MS:
        remark = f"within the {AIM_LATENCY_MS:g} ms that horn players should aim at in ears"
    elif longest <= WARN_LATENCY_MS:
        remark = f"horn players are the strictest of all: aim at {AIM_LATENCY_MS:g} ms if you hear yourself in ears"
    else:
        remark = f"warning: over {WARN_LATENCY_MS:g} ms; horn players feel it (aim at {AIM_LATENCY_MS:g} ms in ears)"
    yield f"Latency: {shortest:.1f} ms{ways}; {remark}"
    if math.isinf(state.tail_s):
        yield "Tail: it never ends"
    elif state.tail_s < 0.005:
        yield "Tail: none"
    else:
        yield f"Tail: the sound goes on for up to {state.tail_s:.2f} s after the take"
    if state.disengaged:
        yield f"Not engaged: {', '.join(state.disengaged)}"


def _worth_knowing(report: CheckReport) -> Iterator[str]:
    yield from report.warnings
    yield from report.house.warnings if report.house is not None else ()
    for name, count in report.second_instances.items():
        yield (
            f"{name}: patches need {count} of it (a fixed setting, the key or the order differs); the tail of one does"
            " not go on in the other"
        )
    if report.feed == "mono":
        yield from _folded(report.states)


def _folded(states: tuple[StateReport, ...]) -> Iterator[str]:
    """Which states a fold to mono changes, by what makes them stereo."""
    by_block: dict[str, list[str]] = {}
    for state in states:
        if state.out_channels == 2:
            by_block.setdefault(", ".join(state.made_stereo_by) or "the take", []).append(state.name)
    for blocks, names in by_block.items():
        where = "" if len(names) == len(states) else f" ({', '.join(names)})"
        yield (
            f'feed = "mono": stereo by {blocks}{where}; what differs between left and right is lost in the fold'
            " (--take tells how much)"
        )


def _take_lines(report: TakeReport) -> Iterator[str]:
    from chainsim.measure.fitness import LEAST_S

    fitness = report.fitness
    yield f"\nTake {report.take}"
    lasts = f"{fitness.seconds:.3f}" if fitness.too_short else f"{fitness.seconds:.1f}"
    yield f"{fitness.sample_rate_hz:.0f} Hz, {_channels(fitness.channels)}, {lasts} s"
    yield from (f"warning: {line}" for line in report.warnings)
    if fitness.too_short:
        yield f"  too short to judge: it needs {LEAST_S:g} s"
        return
    yield from _found(fitness)
    yield "\nFit to judge:"
    yield from (f"  {v.what}: {v.fit}; {v.reason}" for v in fitness.verdicts)
    if report.tuning is not None:
        yield from _tuning_lines(report.tuning)
    for gate in report.gates:
        yield from _gate_lines(gate)
    played = report.played
    against = f", {played.louder_by_lu:+.1f} LU against the take, both from two loudspeakers"
    louder = "" if math.isnan(played.louder_by_lu) else against
    yield (
        f"\nThrough the sketch: {loudness(played.integrated_lufs, played.channels)},"
        f" true peak {number(played.true_peak_dbtp, 1, ' dBTP')}{louder}"
    )
    if played.fold is not None:
        yield _fold_line(played.fold)
    if report.levels is not None:
        yield from level_lines(report.levels)
    yield from (f"Caution: {line}" for line in report.cautions)


def _found(fitness: Fitness) -> Iterator[str]:
    from chainsim.measure.fitness import describe_fall

    yield (
        f"  level: loud notes peak at {number(fitness.loud_peak_dbfs, 1, ' dBFS')}, the highest sample at"
        f" {number(fitness.sample_peak_dbfs, 1, ' dBFS')}; {loudness(fitness.integrated_lufs, fitness.channels)}"
    )
    if fitness.clipped_places:
        yield f"  clipping: {_times(fitness.clipped_places)}, first at {fitness.first_clip_s:.3f} s"
    else:
        yield "  clipping: none"
    yield f"  noise: {_noise(fitness)}"
    yield f"  room: {describe_fall(fitness.fall_60_db_s)}"
    if fitness.silent_channel:
        yield f"  the {fitness.silent_channel} channel is silent: send the other one alone, as a mono take"
    yield f"  notes: {fitness.notes} that begin clearly (slurred ones count as one)"


def _noise(fitness: Fitness) -> str:
    if not fitness.rests:
        return "unknown, for there is no rest"
    rests = f"{counted(fitness.rests, 'rest')} of {fitness.rests_s:.1f} s together"
    if math.isinf(fitness.noise_rms_dbfs):
        return f"none, {rests} of digital silence"
    return (
        f"{fitness.noise_rms_dbfs:.1f} dBFS rms in {rests}, {fitness.signal_to_noise_db:.0f} dB under the loud notes;"
        f" its peaks, which gates go by, reach {fitness.noise_peak_dbfs:.0f} dBFS"
    )


def _gate_lines(gate: GateReport) -> Iterator[str]:
    from chainsim.measure.gating import PASSES_DB, SWALLOWED_DB

    found = gate.gating
    yield f'\nGate "{gate.name}" ({gate.state}; its detector hears {gate.hears}):'
    shuts = f", shuts {found.closes_per_note:.1f} times a note" if found.notes else ""
    most = f" (at most {found.most_closes}, at {found.most_closes_s:.2f} s)" if found.most_closes > 1 else ""
    yield f"  opens {_times(found.openings)}{shuts}{most}"
    where = f", at {', '.join(f'{t:.2f}' for t in found.swallowed_s[:8])} s" if found.swallowed_s else ""
    more = " ..." if len(found.swallowed_s) > 8 else ""
    yield (
        f"  swallows {len(found.swallowed_s)} of {counted(found.notes, 'note')}{where}{more}"
        f" (swallowed: of the note's energy less than {SWALLOWED_DB:g} dB gets through)"
    )
    if found.cut_notes:
        yield (
            f"  cuts the beginning of {counted(found.cut_notes, 'note')}: median {found.median_cut_ms:.1f} ms, worst"
            f" {found.worst_cut_ms:.1f} ms at {found.worst_cut_s:.2f} s (until its gain reaches {PASSES_DB:g} dB)"
        )
    else:
        yield "  cuts no beginning of a note"
    if not math.isnan(found.rests_open):
        held = "; the noise holds it open" if found.rests_open > HELD_OPEN else ""
        yield f"  is open during {100 * found.rests_open:.0f} % of the rests{held}"
    suggested = gate.suggested_threshold_db
    if math.isnan(suggested):
        advice = "there is no rest to judge by, or no room between noise and notes"
    else:
        advice = f"{suggested:.0f} clears the noise's peaks in the rests; louder breaths and keys may need more"
        if gate.threshold_db >= suggested:
            advice = f"it clears the noise's peaks in the rests, as any from {suggested:.0f} on does"
    yield f"  threshold_db = {gate.threshold_db:g}; {advice}"


def _tuning_lines(tuning: Tuning) -> Iterator[str]:
    """How far each note is off, as it sounds."""
    from chainsim.music.pitch import pitch_name

    if not tuning.notes:
        yield "\nTuning: no note was steady and sure for long enough"
        return
    yield f"\nTuning: {number(tuning.median_cents, 1)} cents (median) against A4 = {tuning.a4_hz:g} Hz; note by note:"
    yield "  " + ", ".join(f"{pitch_name(n.midi)} {n.mean_cents:+.0f}" for n in tuning.notes)


def _fold_line(fold: FoldReport) -> str:
    return (
        f"The fold to mono is {number(fold.quieter_db, 1, ' dB')} quieter; {100 * fold.lost_share:.0f} % of the energy"
        " is in the difference of left and right, and lost"
    )


def _tail(seconds: float) -> str:
    return "endless" if math.isinf(seconds) else f"{seconds:.2f}"


def _channels(count: int) -> str:
    return "mono" if count == 1 else "stereo"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
