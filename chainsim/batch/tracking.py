"""The pitch of a take: tracked span by span, its notes found, and both written to files.

>>> found = track("solo.wav", instrument="alto sax")  # doctest: +SKIP
>>> write_midi(found, "solo.mid")  # doctest: +SKIP
>>> write_csv(found, "solo.csv")  # doctest: +SKIP
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from chainsim.audio.reading import Take, open_take
from chainsim.audio.whole import PartFile, writing
from chainsim.audio.writing import refuse_same_file
from chainsim.dsp.note_events import NoteRules
from chainsim.dsp.pitch_rows import CONFIDENCE, LEVEL_DB, ROWS, VOICED
from chainsim.dsp.pitch_tracker import HIGHEST_OF_RATE, PitchTracker
from chainsim.errors import AudioError, SettingError
from chainsim.music.horns import ANY_HORN_HZ, Horn, find_horn
from chainsim.notes.gathering import NoteGatherer
from chainsim.notes.smf_writing import SmfLayout, smf_bytes
from chainsim.notes.track import Track
from chainsim.notes.tuner import Tuning, measure_tuning
from chainsim.units import Array

Progress = Callable[[int, int], None]
"""Told (frames done, frames in all)."""

SPAN_FRAMES = 1 << 14
AFTER_S = 0.25
"""Silence after the take, so that the last note's end is found."""

SURE = 0.5
"""Confidence from which on an estimate counts for the tuner."""

HARDLY_VOICED_PERCENT = 10.0
HEARD_DB = -45.0

CANCELLED_DB = 12.0
"""What folding to mono takes at least from two channels that cancel; one silent channel loses 3 dB."""


def track(
    take: str | Path | Take,
    *,
    instrument: str | None = None,
    range_hz: tuple[float, float] | None = None,
    a4_hz: float = 440.0,
    hysteresis_cents: float = 20.0,
    settle_ms: float = 35.0,
    bend_range_semitones: float = 12.0,
    progress: Progress | None = None,
) -> Track:
    """Track the pitch of a take and find its notes; memory grows with the estimates only.

    Parameters
    ----------
    take : path or Take
        Two channels are folded to their mean.
    instrument : str, optional
        The horn, which says what range to look in, and how it transposes.
    range_hz : (low, high), optional
        The range itself, as far up as the sample rate carries it; without both, that of any horn.
    a4_hz : float, 380 to 480
    hysteresis_cents, settle_ms, bend_range_semitones : float
        As for `NoteRules`: 0 ... 50 cents, 5 ... 500 ms, 1 ... 96 semitones.
    progress : callable, optional

    Raises
    ------
    AudioError
        If the take cannot be read.
    SettingError
        If there is no such horn, or a number is outside its range; if the bend range is not in whole cents.
    """
    _check("a4_hz", a4_hz, 380.0, 480.0, "Hz")
    _check("hysteresis_cents", hysteresis_cents, 0.0, 50.0, "cents")
    _check("settle_ms", settle_ms, 5.0, 500.0, "ms")
    _check("bend_range_semitones", bend_range_semitones, 1.0, 96.0, "semitones")
    if abs(100.0 * bend_range_semitones - round(100.0 * bend_range_semitones)) > 1e-6:
        raise SettingError(
            f"bend_range_semitones = {bend_range_semitones:g} semitones, allowed whole cents, such as 2.5"
        )
    horn = None if instrument is None else find_horn(instrument)
    rules = NoteRules(a4_hz, hysteresis_cents, settle_ms, bend_range_semitones)
    with ExitStack() as stack:
        source: Take = stack.enter_context(open_take(take)) if isinstance(take, str | Path) else take
        looked_hz = _range_hz(horn, range_hz, a4_hz, source.sample_rate_hz)
        tracker = PitchTracker(*looked_hz, source.sample_rate_hz)
        gatherer = NoteGatherer(rules, source.sample_rate_hz)
        rows, lost_db = _track_all(source, tracker, gatherer, progress)
    played = gatherer.as_played().until(source.frames / source.sample_rate_hz)
    return Track(
        take=str(source.path or "array"),
        sample_rate_hz=source.sample_rate_hz,
        frames=source.frames,
        channels=source.channels,
        range_hz=looked_hz,
        horn=horn,
        a4_hz=a4_hz,
        hop_samples=tracker.hop_samples,
        rows=rows,
        played=played,
        sent=gatherer.as_sent(),
        known_ms=1000.0 * gatherer.median_age_s(),
        warnings=(
            *source.warnings,
            *_beyond(horn, range_hz, looked_hz, a4_hz, source.sample_rate_hz),
            *_doubts(rows, lost_db),
        ),
    )


def _check(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise SettingError(f"{name} = {value:g} {unit}, allowed {low:g} ... {high:g} {unit}")


def _range_hz(
    horn: Horn | None, range_hz: tuple[float, float] | None, a4_hz: float, sample_rate_hz: float
) -> tuple[float, float]:
    """What is asked for or the horn's range, as far up as this sample rate carries it."""
    low_hz, high_hz = range_hz or (ANY_HORN_HZ if horn is None else horn.search_hz(a4_hz))
    most_hz = HIGHEST_OF_RATE * sample_rate_hz
    return low_hz, min(high_hz, most_hz) if low_hz < most_hz else high_hz


def _track_all(
    source: Take, tracker: PitchTracker, gatherer: NoteGatherer, progress: Progress | None
) -> tuple[Array, float]:
    """Give everything to the tracker and its rows to the gatherer.

    Returns one column an estimate, and the dB that folding the channels to their mean has taken.
    """
    hop = tracker.hop_samples
    energy = np.zeros(2)
    kept = [np.zeros((len(ROWS), 0))]
    in_all = source.frames + math.ceil(AFTER_S * source.sample_rate_hz)
    for n0 in range(0, in_all, SPAN_FRAMES):
        frames = min(SPAN_FRAMES, in_all - n0)
        x = source.read(n0, frames)
        rows = np.empty((len(ROWS), frames))
        folded = np.ascontiguousarray(x.mean(axis=0))
        energy += np.sum(x**2) / x.shape[0], np.sum(folded**2)
        tracker.process(n0, folded, rows)
        gatherer.add(rows)
        there = min(frames, source.frames - n0)
        if there > 0:
            kept.append(rows[:, (hop - 1 - n0) % hop : there : hop].copy())
        if progress is not None:
            progress(min(n0 + frames, source.frames), source.frames)
    lost_db = 10.0 * math.log10(energy[0] / max(energy[1], 1e-12 * energy[0])) if energy[0] > 0.0 else 0.0
    return np.concatenate(kept, axis=1), lost_db


def _beyond(
    horn: Horn | None,
    range_hz: tuple[float, float] | None,
    looked_hz: tuple[float, float],
    a4_hz: float,
    sample_rate_hz: float,
) -> list[str]:
    """What to say where the sample rate does not carry all that is asked for, or all notes of the horn."""
    if looked_hz[1] < HIGHEST_OF_RATE * sample_rate_hz:
        return []
    if range_hz is not None:
        name, reach_hz = "the range asked for", range_hz[1]
    elif horn is not None:
        name, reach_hz = f"the {horn.name}", horn.reach_hz(a4_hz)[1]
    else:
        return []
    if looked_hz[1] >= reach_hz:
        return []
    return [
        f"at a sample rate of {sample_rate_hz:g} Hz pitch is looked for up to {looked_hz[1]:.0f} Hz;"
        f" {name} reaches {reach_hz:.0f} Hz"
    ]


def _doubts(rows: Array, lost_db: float) -> list[str]:
    """What to say of a take whose channels cancel, or in which hardly any pitch was found."""
    if lost_db > CANCELLED_DB:
        return [
            f"left and right cancel each other: their mean is {min(lost_db, 99.0):.0f} dB softer than they are; is one"
            " of them wired the wrong way round?"
        ]
    heard = rows[LEVEL_DB] > HEARD_DB
    if not heard.any():
        return ["the take is nearly silent: no level over -45 dBFS"]
    if 100.0 * float(np.mean(rows[VOICED, heard])) < HARDLY_VOICED_PERCENT:
        return [
            "hardly any pitch is sure: is the range right for this horn, and does the take hold one horn, one note at"
            " a time?"
        ]
    return []


def tuning_of(found: Track, a4_hz: float | None = None) -> Tuning:
    """How well the player was in tune, against the track's own A4 or another."""
    sure = found.voiced & (found.rows[CONFIDENCE] >= SURE)
    return measure_tuning(found.played.notes, found.time_s, found.f0_hz, sure, a4_hz or found.a4_hz)


def write_csv(found: Track, path: str | Path) -> None:
    """Write the track as comma-separated values, whole or not at all.

    Raises
    ------
    AudioError
        If it cannot be written there.
    """
    refuse_same_file(path, [found.take])
    with PartFile(path) as part, writing(Path(path)), part.open("w", encoding="utf-8", newline="\n") as file:
        file.writelines(line + "\n" for line in found.csv_lines())


def write_midi(
    found: Track,
    path: str | Path,
    *,
    as_sent: bool = False,
    written: bool = False,
    tempi: Sequence[tuple[float, float]] = ((0.0, 120.0),),
    bend_range_semitones: float = 12.0,
) -> None:
    """Write the notes as a Standard MIDI File, whole or not at all.

    Parameters
    ----------
    found : Track
    path : path
    as_sent : bool
        Write each event when a live converter could have known it, not when it was played.
    written : bool
        Notes as they stand on the part of a transposing horn, rather than as they sound.
    tempi : sequence of (seconds, beats per minute)
        The first at 0.
    bend_range_semitones : float

    Raises
    ------
    AudioError
        If it cannot be written there.
    SettingError
        If `written` pitch is asked for without a horn, or a note has no MIDI number.
    """
    refuse_same_file(path, [found.take])
    if written and found.horn is None:
        raise SettingError("written pitch needs a horn: name the instrument")
    shift = -found.horn.transposition if written and found.horn is not None else 0
    layout = SmfLayout(
        tempi=tempi,
        bend_range_semitones=bend_range_semitones,
        transpose_semitones=shift,
        name=f"{found.horn.name if found.horn else 'horn'}, {'written' if written else 'sounding'} pitch",
        remark=_remark(found, shift, as_sent),
    )
    content = smf_bytes(found.sent if as_sent else found.played, layout)
    with PartFile(path) as part, writing(Path(path)):
        part.write_bytes(content)


def _remark(found: Track, shift: int, as_sent: bool) -> str:
    way = "higher" if shift < 0 else "lower"
    pitch = f"sounds {abs(shift)} semitones {way}" if shift else "notes as they sound"
    times = "each event when it could be known" if as_sent else "each note from its attack"
    return f"{pitch}; A4 = {found.a4_hz:g} Hz; C4 is middle C (60); {times}"


def write_plot(found: Track, path: str | Path, *, written: bool = False) -> None:
    """Draw notes, pitch and confidence into a picture (.png, .svg or .pdf), whole or not at all.

    Raises
    ------
    AudioError
        If it cannot be written there, or has another ending.
    """
    from chainsim.listen.plots.track_plot import FORMATS, draw_track

    refuse_same_file(path, [found.take])
    suffix = Path(path).suffix.lower()
    if suffix not in FORMATS:
        raise AudioError(f'{path}: cannot draw "{suffix}" files, allowed {" | ".join(FORMATS)}')
    with PartFile(path) as part, writing(Path(path)):
        draw_track(found, part, suffix[1:], written=written)
