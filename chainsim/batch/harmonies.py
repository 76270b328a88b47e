"""Every voice of a sketch's pitch shifters, rendered alone over a take and judged against it.

>>> report = measure_harmonies(load_sketch("tenths.toml"), "solo.wav")  # doctest: +SKIP
>>> [(v.place, v.error.mean_cents) for v in report.voices]  # doctest: +SKIP

A voice is rendered as the whole chain: with its block's own settings, but alone, in the middle, not delayed, at 0 dB;
its cents and its drift stay. Key, instrument and tuning are the sketch's own, before any cue.

What an in-key voice should play depends on the note. It is judged by that interval of its key, out of those that the
key ever asks of this voice, at which it is for longest; whether that is the one asked for there is told apart. Until
its place is chosen such a voice stays where it was in the note before: until it arrives, and for 30 ms after, it is not
judged, if it arrives before the block's deadline for that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from chainsim.audio.reading import Take, open_take
from chainsim.blocks._voices import key_is_missing
from chainsim.blocks.pitch_shifter import PitchShifterSettings, ShiftedVoice
from chainsim.dsp.harmony_note import DEADLINE_COMMITS, DEADLINE_S
from chainsim.errors import SketchError
from chainsim.graph.rendering import render
from chainsim.measure.harmony import HarmonyError, HarmonyJudge, NoteError
from chainsim.music.interval import Interval, parse_interval
from chainsim.music.pitch import hz_to_midi, midi_to_hz, parse_pitch
from chainsim.music.scale import Key, parse_key
from chainsim.sketch.chain import BlockStep
from chainsim.sketch.model import BlockEntry, Sketch
from chainsim.units import Array

ARRIVING_S = 0.03
"""A glide from place to place, in the window in which a pitch is measured."""
LEAST_MOMENTS = 5

Progress = Callable[[int, int], None]
"""Told (voices done, voices in all)."""


@dataclass(frozen=True)
class Degrees:
    """What an in-key voice made of the degrees that were played."""

    right: int
    """Notes in which it plays the interval that the key asks for."""
    of: int
    """Steady notes in which it plays one at all."""


@dataclass(frozen=True)
class VoiceReport:
    """One voice against the take.

    Attributes
    ----------
    block : str
        Name of its block in the sketch.
    number : int
        Its place among that block's voices, from 1.
    place : str
        What it plays, as written: an interval, or a pitch.
    cents : float
        How far it is meant to be out of tune; the error is against that.
    error : HarmonyError
    degrees : Degrees or None
        For a voice in the key.
    """

    block: str
    number: int
    place: str
    cents: float
    error: HarmonyError
    degrees: Degrees | None

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        error = self.error
        return {
            "block": self.block,
            "voice": self.number,
            "place": self.place,
            "cents": self.cents,
            "notes": len(error.notes),
            "steady_notes": len(error.steady_notes),
            "mean_cents": error.mean_cents,
            "spread_cents": error.spread_cents,
            "worst_level_db": error.worst_level_db,
            "dropped_out": error.dropped_out,
            "pre_echo_db": error.pre_echo_db,
            "degrees": None if self.degrees is None else {"right": self.degrees.right, "of": self.degrees.of},
            "each": [_note_dict(note) for note in error.notes],
        }


@dataclass(frozen=True)
class HarmonyReport:
    """Every voice of a sketch against one take.

    Attributes
    ----------
    take : str
        File name, or "array".
    duration_s : float
    channels : int
        Of the take; two were folded to their mean.
    key : str or None
    voices : tuple of VoiceReport
    warnings : tuple of str
    """

    take: str
    duration_s: float
    channels: int
    key: str | None
    voices: tuple[VoiceReport, ...]
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "take": self.take,
            "duration_s": self.duration_s,
            "folded_to_mono": self.channels == 2,
            "key": self.key,
            "voices": [voice.to_dict() for voice in self.voices],
            "warnings": self.warnings,
        }


def measure_harmonies(sketch: Sketch, take: str | Path | Take, *, progress: Progress | None = None) -> HarmonyReport:
    """Render every voice of a sketch's pitch shifters alone, and judge it against the take.

    Parameters
    ----------
    sketch : Sketch
    take : path or Take
        One horn; two channels are folded to their mean. It is held in memory.
    progress : callable, optional

    Raises
    ------
    AudioError
        If the take cannot be read.
    SketchError, GraphError
        If the sketch has no pitch shifter, a voice is in a key and the sketch names none, or its block cannot be built.
    """
    shifters = {n: b for n, b in sketch.base.blocks.items() if isinstance(b.settings, PitchShifterSettings)}
    if not shifters:
        raise SketchError('no block of type "pitch_shifter", so there are no harmonies to measure')
    alone = [voice for entry in shifters.values() for voice in _voices(entry, sketch.base.key)]
    with ExitStack() as stack:
        source: Take = stack.enter_context(open_take(take)) if isinstance(take, str | Path) else take
        x: Array = np.mean(source.read(0, source.frames), axis=0)
    rate_hz = source.sample_rate_hz
    judge = HarmonyJudge(x, rate_hz, sketch.header.pitch_range_hz)
    warnings = [*source.warnings, *_doubts(sketch, judge)]
    reports = []
    for done, (entry, number, voice) in enumerate(alone, 1):
        rendering = render(_sketch_of(sketch, entry, voice), x, rate_hz)
        y, latency = np.ascontiguousarray(rendering.audio[:, 0]), rendering.latency_samples
        reports.append(_report(sketch, judge, entry, number, voice, y, latency))
        warnings += rendering.warnings
        if progress is not None:
            progress(done, len(alone))
    return HarmonyReport(
        take=str(source.path or "array"),
        duration_s=source.frames / rate_hz,
        channels=source.channels,
        key=sketch.base.key,
        voices=tuple(reports),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _voices(entry: BlockEntry, key: str | None) -> Iterator[tuple[BlockEntry, int, ShiftedVoice]]:
    assert isinstance(entry.settings, PitchShifterSettings)
    for number, voice in enumerate(entry.settings.voices or [ShiftedVoice()], 1):
        if key is None and voice.in_key:
            raise SketchError(key_is_missing(f"blocks.{entry.name}.voices[{number - 1}]", voice.interval))
        yield entry, number, voice


def _doubts(sketch: Sketch, judge: HarmonyJudge) -> Iterator[str]:
    """What to say of what is left out, and of a take that is no ground to judge by."""
    if sketch.cues or sketch.controllers:
        yield "cues and controllers are left out: each voice is measured with the block's settings as written"
    if not any(note.steady for note in judge.found.notes):
        yield (
            "no note is steady for long enough to judge a harmony by: does the take hold one horn, with notes of 0.2 s"
            " or more?"
        )


def _sketch_of(sketch: Sketch, entry: BlockEntry, voice: ShiftedVoice) -> Sketch:
    """A sketch whose chain is this block with this voice alone."""
    alone = voice.model_copy(update={"level_db": 0.0, "pan": 0.0, "delay_ms": 0.0})
    settings = entry.settings.model_copy(update={"voices": [alone], "level_db": 0.0})
    block = BlockEntry(entry.name, entry.type_name, settings)
    base = replace(sketch.base, chain=(BlockStep(entry.name),), blocks={entry.name: block}, drives={})
    return Sketch(header=sketch.header, base=base, folder=sketch.folder)


def _report(
    sketch: Sketch, judge: HarmonyJudge, entry: BlockEntry, number: int, voice: ShiftedVoice, y: Array, latency: float
) -> VoiceReport:
    a4_hz, off = sketch.base.a4_hz, 0.01 * voice.cents
    degrees = None
    if voice.pitch is not None:
        place = voice.pitch
        error = judge.of_pitch(y, midi_to_hz(parse_pitch(voice.pitch) + off, a4_hz), latency)
    else:
        place, interval = voice.interval, parse_interval(voice.interval)
        if isinstance(interval, Interval):
            error = judge.of_interval(y, interval.semitones + off, latency)
        else:
            assert sketch.base.key is not None
            key = parse_key(sketch.base.key)
            sizes = {key.step(midi, interval.steps) - midi for midi in range(60, 72)}
            by_size = {size: judge.of_interval(y, size + off, latency) for size in sorted(sizes)}
            assert isinstance(entry.settings, PitchShifterSettings)
            deadline_s = DEADLINE_COMMITS * entry.settings.commit_ms / 1000.0 + DEADLINE_S
            error, degrees = _nearest_sizes(by_size, key, interval.steps, a4_hz, deadline_s)
    return VoiceReport(entry.name, number, place, voice.cents, error, degrees)


def _nearest_sizes(
    by_size: Mapping[int, HarmonyError], key: Key, steps: int, a4_hz: float, deadline_s: float
) -> tuple[HarmonyError, Degrees]:
    """Note by note the interval that the voice is at for longest, and how often it is the right one."""
    sizes = list(by_size)
    notes, right, of = [], 0, 0
    for readings in zip(*(error.notes for error in by_size.values()), strict=True):
        longest = int(np.argmax([np.sum(note.in_place) for note in readings]))
        note = _once_arrived(readings[longest], deadline_s)
        notes.append(note)
        if note.in_place.any():
            midi = round(hz_to_midi(note.take_hz, a4_hz))
            of += 1
            right += sizes[longest] == key.step(midi, steps) - midi
    return HarmonyError(tuple(notes)), Degrees(right, of)


def _once_arrived(note: NoteError, deadline_s: float) -> NoteError:
    """The note without what comes before its voice arrives, if that is in time and leaves enough to judge it by."""
    if not note.in_place.any() or note.in_place[0]:
        return note
    arrived_s = float(note.time_s[np.argmax(note.in_place)])
    kept = note.time_s >= arrived_s + ARRIVING_S
    if arrived_s > note.begin_s + deadline_s + ARRIVING_S or np.sum(kept) < LEAST_MOMENTS:
        return note
    return replace(note, time_s=note.time_s[kept], cents=note.cents[kept])


def _note_dict(note: NoteError) -> dict[str, Any]:
    return {
        "begin_s": note.begin_s,
        "end_s": note.end_s,
        "take_hz": note.take_hz,
        "semitones": note.semitones,
        "steady": note.steady,
        "mean_cents": note.mean_cents,
        "spread_cents": note.spread_cents,
        "level_db": note.level_db,
        "gap_ms": note.gap_ms,
        "off_share": note.off_share,
        "dropped_out": note.dropped_out,
        "pre_echo_db": note.pre_echo_db,
    }
