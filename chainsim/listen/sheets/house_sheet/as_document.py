"""The house sheet in words."""

from __future__ import annotations

import math
from collections.abc import Iterator

from chainsim.listen.sheets.document import Document, Part, Table, listed
from chainsim.listen.sheets.house_sheet.figures import FeedLevels, PatchFigures
from chainsim.listen.sheets.house_sheet.lowest_notes import HORN, LowestNote
from chainsim.listen.sheets.house_sheet.sheet import HouseSheet

ALL = "all patches"
UNRELATED_DB = 3.01
"""What left and right that have nothing in common lose in a fold; more is lost only where they cancel."""
CANCELS_DB = UNRELATED_DB + 0.5
AMPLIFIED_FROM_HZ = 30.0
"""What is lower no loudspeaker of a house gives, and hardly anybody hears: a low cut there takes nothing away."""
UNKNOWN_LEVEL = "unknown: the sketch has no [levels]; listen, and set the gain from nothing"
NO_TAKE = "unknown: print this sheet with a take"


def house_document(sheet: HouseSheet) -> Document:
    """Put the sheet into words."""
    return Document(
        title=sheet.title,
        kind="for the house",
        room=sheet.room,
        in_short=(_in_short(sheet),),
        parts=(
            Part("The line", Table(("", ""), tuple(_line(sheet)))),
            Part("How loud", Table(("", ""), tuple(_loudness(sheet)))),
            Part("What arrives, of the loudest patch", _ways(sheet)),
            Part("In it already: please add none of these", _effects(sheet, enough=True)),
            Part("Tone and voices of its own: equalize for the room, not for these", _effects(sheet, enough=False)),
            Part("Patch by patch", _patches(sheet)),
        ),
        cautions=sheet.cautions,
    )


def _in_short(sheet: HouseSheet) -> str:
    who = "a horn" if sheet.instrument is None else sheet.instrument
    width = "mono, one line" if sheet.channels == 1 else "stereo, two lines (left, right)"
    return f"{who} with effects, one player; {width}"


def _line(sheet: HouseSheet) -> Iterator[tuple[str, str]]:
    boxes = (
        "one direct box" if sheet.channels == 1 else "two direct boxes, or one with two channels; pan left and right"
    )
    yield "comes by", f"{boxes}; balanced, the three-pin connector of a microphone line, into microphone inputs"
    yield "level", _level(sheet)
    yield "phantom supply", _phantom(sheet)
    yield "in mono", _mono(sheet)
    yield "low end", _low_end(sheet)
    yield "latency", _latency(sheet)
    yield "noise at rest", _noise(sheet)
    yield "who mutes", _mutes(sheet)
    yield "howls first", _howls(sheet)


def _levels(sheet: HouseSheet) -> FeedLevels | None:
    return None if sheet.figures is None else sheet.figures.levels


def _level(sheet: HouseSheet) -> str:
    levels = _levels(sheet)
    if levels is None:
        return NO_TAKE if sheet.states_levels else UNKNOWN_LEVEL
    return f"{_dbu(levels.nominal_dbu)} while playing, peaks at {_dbu(levels.peak_dbu)}, before the direct box: " + (
        "line level, so pad the box" if levels.nominal_dbu >= -10.0 else "instrument level"
    )


def _phantom(sheet: HouseSheet) -> str:
    levels = _levels(sheet)
    if levels is None and not sheet.states_levels:
        return "for an active direct box only; off for a passive one, and never into an output that does not allow it"
    if levels is None:
        return NO_TAKE
    if not levels.phantom:
        return "none on this line: use a passive box, or an active one with a supply of its own; off"
    return "on for an active direct box, switched with the fader down; off for a passive one and for a line input"


def _mono(sheet: HouseSheet) -> str:
    if sheet.channels == 1:
        return "it is mono"
    if not sheet.sounding:
        return NO_TAKE
    worst = max(sheet.sounding, key=lambda p: p.mono_loss_db)
    loses = f"the sum loses {worst.mono_loss_db:.1f} dB at the most{_in_patch(sheet, worst.patch)}"
    if worst.mono_loss_db <= CANCELS_DB:
        return f"safe: {loses}; half of left plus right"
    bad = [p.patch for p in sheet.sounding if p.mono_loss_db > CANCELS_DB]
    where = f" in {listed(bad, sheet.patches, ALL)}" if len(sheet.patches) > 1 else ""
    return f"not safe: {loses}; parts cancel{where}: take both, or left alone"


def _low_end(sheet: HouseSheet) -> str:
    told = []
    energy_hz = math.inf
    if sheet.sounding:
        lowest = min(sheet.sounding, key=lambda p: p.lowest_hz)
        energy_hz = lowest.lowest_hz
        told.append(f"with this take energy from {energy_hz:.0f} Hz on{_in_patch(sheet, lowest.patch)}")
    if not sheet.lowest:
        # A take holds the notes that were played, not those that the horn has.
        what = f"nothing under {energy_hz:.0f} Hz in this take; " if told else ""
        return f"{what}what the horn can reach is not known: set instrument"
    told.append("lowest notes: " + "; ".join(map(_note, sheet.lowest)))
    if sheet.unbounded_below:
        return "; ".join([f"no low cut, {', '.join(sheet.unbounded_below)} may sound under every note", *told])
    needed_hz = max(AMPLIFIED_FROM_HZ, min(energy_hz, *(note.freq_hz for note in sheet.lowest)))
    return "; ".join([f"low cut under {needed_hz:.0f} Hz", *told])


def _note(note: LowestNote) -> str:
    overtones = "" if note.freq_hz >= AMPLIFIED_FROM_HZ else ": heard by its overtones"
    return f"{'horn' if note.by == HORN else note.by} {note.name} ({note.freq_hz:.0f} Hz{overtones})"


def _latency(sheet: HouseSheet) -> str:
    least, most = sheet.latency_ms
    if most < 0.05:
        return "none in the chain"
    if most - least < 0.05:
        times = f"{most:.1f} ms after the microphone"
    else:
        times = f"{least:.1f} to {most:.1f} ms after the microphone, by patch and voice"
    return f"{times}: a second microphone on the horn would comb with it"


def _noise(sheet: HouseSheet) -> str:
    levels = _levels(sheet)
    if levels is None:
        return NO_TAKE if sheet.states_levels else UNKNOWN_LEVEL.partition(";")[0]
    if levels.noise_dbu == -math.inf:
        return "none known"
    under_db = levels.nominal_dbu - levels.noise_dbu
    return f"{_dbu(levels.noise_dbu)}, {under_db:.0f} dB under the playing"


def _mutes(sheet: HouseSheet) -> str:
    who = f"the player ({' or '.join(sheet.mutes)})" if sheet.mutes else "the engineer: the player has no mute"
    plain = f"; plain horn: {' or '.join(sheet.plain)}" if sheet.plain else ""
    return f"{who}{plain}; for changes of cables the engineer, on a sign"


def _howls(sheet: HouseSheet) -> str:
    found = None if sheet.figures is None else sheet.figures.howls
    if found is None:
        return NO_TAKE if sheet.figures is None else "could not be told"
    return (
        f"near {_hz(found.freq_hz)}, {found.gain_db:+.0f} dB over the dry horn{_in_patch(sheet, found.patch)};"
        " microphone, loudspeaker and room decide"
    )


def _loudness(sheet: HouseSheet) -> Iterator[tuple[str, str]]:
    if sheet.figures is None:
        yield "loudest, quietest", NO_TAKE
        return
    if not sheet.sounding:
        yield "loudest, quietest", "silent with this take"
        return
    if len(sheet.patches) == 1:
        yield "loudness", _loud(sheet.sounding[0])
    else:
        yield "loudest", f"{sheet.sounding[0].patch}: {_loud(sheet.sounding[0])}"
        yield "quietest", f"{sheet.sounding[-1].patch}: {_loud(sheet.sounding[-1])}"
        yield "between them", _spread(sheet)
        highest = max(sheet.sounding, key=lambda p: p.true_peak_dbtp)
        peak = f"{highest.true_peak_dbtp:+.1f} dBTP ({highest.patch}): set the gain with this one"
        yield "highest peak", peak + (", and leave room" if sheet.off_at_first else "")
    if sheet.off_at_first:
        off = " and ".join(sheet.off_at_first)
        yield "measured without", f"{off}, by own switch: may be louder when on"
    lines = "of the line, as a mono file" if sheet.channels == 1 else "of both lines together, as a stereo file"
    yield "measured with", f"{sheet.figures.take}, {sheet.figures.seconds:.0f} s; LUFS {lines} is measured"


def _spread(sheet: HouseSheet) -> str:
    if not sheet.to_ride:
        return f"{sheet.spread_lu:.1f} LU: one fader position does"
    told = ", ".join(f"{p.patch} {over_lu:+.1f} LU" for p, over_lu in sheet.to_ride)
    return f"{sheet.spread_lu:.1f} LU: ride the fader; against the others {told}"


def _loud(figures: PatchFigures) -> str:
    return f"{figures.integrated_lufs:.1f} LUFS, peak {figures.true_peak_dbtp:+.1f} dBTP"


def _in_patch(sheet: HouseSheet, patch: str) -> str:
    """Which patch it was, where there are others."""
    return f" ({patch})" if len(sheet.patches) > 1 else ""


def _hz(freq_hz: float) -> str:
    return f"{freq_hz:.0f} Hz" if freq_hz < 1000.0 else f"{freq_hz / 1000.0:.1f} kHz"


def _ways(sheet: HouseSheet) -> Table:
    levels = _levels(sheet)
    rows = tuple(
        (
            way.name,
            _dbu(way.nominal_dbu),
            _dbu(way.peak_dbu),
            "-" if math.isinf(way.headroom_db) else f"{way.headroom_db:.0f} dB",
            f"{way.gain_db:+.0f} dB",
        )
        for way in (() if levels is None else levels.ways)
    )
    return Table(("by", "while playing", "peaks", "headroom", "gain to +4 dBu"), rows)


def _effects(sheet: HouseSheet, *, enough: bool) -> Table:
    several = len(sheet.patches) > 1
    rows = tuple(
        (e.text, ", ".join(e.blocks), listed(e.patches, sheet.patches, ALL) if several else "")
        for e in sheet.effects
        if e.enough == enough
    )
    return Table(("effect", "box", "in"), rows)


def _patches(sheet: HouseSheet) -> Table:
    known = {} if sheet.figures is None else {p.patch: p for p in sheet.figures.patches}
    rows = tuple(
        (name, ", ".join(sheet.entrances.get(name, ())), *_measured(sheet, known.get(name)))
        for name in (sheet.patches if len(sheet.patches) > 1 else ())
    )
    return Table(("patch", "comes at", "LUFS", "peak dBTP", "energy from Hz", "lost in mono dB"), rows)


def _measured(sheet: HouseSheet, p: PatchFigures | None) -> tuple[str, str, str, str]:
    if p is None:
        return "", "", "", ""
    return (
        f"{p.integrated_lufs:.1f}" if math.isfinite(p.integrated_lufs) else "silent",
        f"{p.true_peak_dbtp:+.1f}" if math.isfinite(p.true_peak_dbtp) else "",
        f"{p.lowest_hz:.0f}" if math.isfinite(p.lowest_hz) else "",
        f"{p.mono_loss_db:.1f}" if sheet.channels == 2 and math.isfinite(p.mono_loss_db) else "",
    )


def _dbu(level_dbu: float) -> str:
    return f"{level_dbu:+.0f} dBu" if math.isfinite(level_dbu) else "silence"
