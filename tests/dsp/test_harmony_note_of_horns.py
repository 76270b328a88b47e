"""Which note a harmony is chosen for, and when: synthetic and sampled horns through the tracker."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest

from chainsim.dsp.pitch_tracker import PitchTracker
from chainsim.horn.model import HORNS as PLAYED
from chainsim.horn.phrase import Note, Phrase
from chainsim.horn.play import HornTake, play
from chainsim.music.horns import HORNS
from tests.dsp.test_harmony_note import FS, changes, chosen
from tests.dsp.test_pitch_articulations import phrase_of
from tests.dsp.tracked import rows_of
from tests.sampled_horns import SampledHorn


@functools.cache
def tracked_take(phrase: Phrase, unsteadiness: float = 1.0) -> tuple[HornTake, np.ndarray]:
    """A horn and what the tracker says of it."""
    take = play(phrase, seed=1, unsteadiness=unsteadiness)
    return take, rows_of(PitchTracker(*HORNS[phrase.horn].search_hz(), FS), take.audio, 1 << 14)


def run_of(horn: str, slurred: bool) -> Phrase:
    """Sixteenths at 140 beats a minute, 107 ms each, in the middle of the horn's range."""
    middle = (PLAYED[horn].low_midi + PLAYED[horn].high_midi) // 2
    steps = (0, 2, 4, 5, 7, 5, 4, 2, 0)
    notes = tuple(Note(float(middle + s), 0.25, slurred=slurred and i > 0) for i, s in enumerate(steps))
    return Phrase("run", 140.0, notes, horn)


def right_after_ms(take: HornTake, y: np.ndarray) -> list[float]:
    """How long after each onset its note is chosen; infinity where it isn't before the next."""
    ends_s = [*take.onsets_s[1:], take.notes[-1].end_s]
    found = []
    for note, end_s in zip(take.notes, ends_s, strict=True):
        right = np.flatnonzero(y[round(note.onset_s * FS) : round(end_s * FS)] == round(note.pitch))
        found.append(1000.0 * right[0] / FS if right.size else math.inf)
    return found


@pytest.mark.parametrize("slurred", [False, True])
@pytest.mark.parametrize("horn", PLAYED)
def test_sixteenths_each_have_their_degree(horn: str, slurred: bool) -> None:
    take, track = tracked_take(run_of(horn, slurred))
    y = chosen(track)
    after_ms = right_after_ms(take, y)
    print(f"{horn}, {'slurred' if slurred else 'tongued'}: right after", *(f"{ms:.0f}" for ms in after_ms), "ms")
    # 60 ms, and what the tracker takes to know an attack (18 ms) or a pitch (two periods and a window, 9 to 40 ms).
    assert max(after_ms) <= 80.0
    assert [note for _, note in changes(y)] == [round(note.pitch) for note in take.notes]


@pytest.mark.parametrize("articulation", ["tongued", "accent", "scoop", "fall", "doit", "growl", "flutter"])
@pytest.mark.parametrize("horn", ["alto sax", "baritone sax", "trumpet", "trombone"])
def test_one_degree_a_note_whatever_the_articulation(horn: str, articulation: str) -> None:
    take, track = tracked_take(phrase_of(horn, Note(60.0, 1.0, 0.6, articulation)))
    y = chosen(track)
    assert [note for _, note in changes(y)] == [round(note.pitch) for note in take.notes]
    # A scoop takes 160 ms; a flutter's pitch, and a deep note's, is known later.
    assert max(right_after_ms(take, y)) <= 200.0


@pytest.mark.parametrize("horn", ["alto sax", "baritone sax", "trumpet", "trombone"])
def test_three_times_the_horn_s_own_vibrato(horn: str) -> None:
    take, track = tracked_take(phrase_of(horn, Note(60.0, 1.0, 0.6, vibrato=3.0)))
    assert [note for _, note in changes(chosen(track))] == [round(note.pitch) for note in take.notes]


@pytest.mark.parametrize("grace_ms", [40.0, 55.0])
@pytest.mark.parametrize("slurred", [False, True])
@pytest.mark.parametrize("horn", ["alto sax", "clarinet", "trumpet", "trombone"])
def test_a_horn_s_grace_notes(horn: str, slurred: bool, grace_ms: float) -> None:
    middle = float((PLAYED[horn].low_midi + PLAYED[horn].high_midi) // 2)
    beats = grace_ms / 1000.0 * 120.0 / 60.0
    notes = [Note(middle, 1.0)]
    for step in (2.0, 1.0, -1.0):
        notes += [Note(middle + step, beats, slurred=slurred), Note(middle, 1.0, slurred=True)]
    notes += [Note(middle + 3.0, beats, slurred=slurred), Note(middle + 5.0, 1.0, slurred=True)]
    # A steady player, whose grace notes are as long as they are written: others' are up to 8 ms off.
    _, track = tracked_take(Phrase("grace notes", 120.0, tuple(notes), horn), unsteadiness=0.0)
    assert [note for _, note in changes(chosen(track))] == [middle, middle + 5.0]


@pytest.mark.parametrize("horn", ["sampled_sax", "sampled_trombone"])
def test_sampled_horns(horn: str, request: pytest.FixtureRequest) -> None:
    sampled: SampledHorn = request.getfixturevalue(horn)
    rate_hz = float(sampled.sample_rate_hz)
    track = rows_of(PitchTracker(50.0, 1000.0, rate_hz), sampled.audio, 1 << 14)
    found = changes(chosen(track, rate_hz=rate_hz), rate_hz)
    # The phrase as it was played; a note said twice chooses nothing anew.
    due = [note for k, note in enumerate(sampled.notes) if k == 0 or note.midi != sampled.notes[k - 1].midi]
    assert [note for _, note in found] == [note.midi for note in due]
    # These attacks take some 30 ms to sound, and the release of the note before sounds into them.
    after_ms = [ms - 1000.0 * note.onset_s for (ms, _), note in zip(found, due, strict=True)]
    print(f"{horn}: right after", *(f"{ms:.0f}" for ms in after_ms), "ms")
    assert max(after_ms) <= 120.0
